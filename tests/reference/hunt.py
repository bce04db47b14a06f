"""Looks for conversations that the checker judges wrongly: `python -m tests.reference.hunt --seed 1 --count 200`.

Every mismatch is printed with its seed, row and variant; `--keep FOLDER` keeps its file, `--row` and `--only`
make one case again.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.reference.cases import MORE_ROWS, ROWS, Case, draw_case, write_case
from tests.reference.doubtful import DOUBTFUL, doubtful_case
from tests.reference.judge import judge, mismatch


def one(row: str, seed: int, folder: Path, *, wide: bool) -> tuple[Case, Path, str]:
    """Make, write and judge one case."""
    if row in DOUBTFUL:
        case, form = doubtful_case(row, seed), "vcd" if seed % 3 == 0 else "edges"
    else:
        case, form = draw_case(row, seed, wide=wide)
    path = write_case(case, folder, form, f"{row}_{seed}")
    try:
        status, report = judge(path)
        wrong = mismatch(case, status, report)
    except Exception as error:
        wrong = f"{type(error).__name__}: " + " | ".join(str(error).strip().splitlines()[-3:])
    return case, path, wrong


def main() -> int:
    """Run the hunt; the exit status is 1 if there was a mismatch."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="first seed")
    parser.add_argument("--count", type=int, default=100, help="how many seeds")
    parser.add_argument("--row", choices=ROWS + MORE_ROWS + DOUBTFUL, help="only this row (else half healthy)")
    parser.add_argument("--doubtful", action="store_true", help="only captures that do not show everything")
    parser.add_argument("--wide", action="store_true", help="skew, jitter and flaws up to what the standard allows")
    parser.add_argument("--keep", type=Path, help="keep the files of mismatches here")
    options = parser.parse_args()
    others = [row for row in ROWS if row != "healthy"]
    tally: Counter[str] = Counter()
    misses: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        for seed in range(options.seed, options.seed + options.count):
            row = options.row or ("healthy" if seed % 2 else others[seed // 2 % len(others)])
            if options.doubtful and not options.row:
                row = DOUBTFUL[seed % len(DOUBTFUL)]
            case, path, wrong = one(row, seed, Path(name), wide=options.wide)
            tally[row] += 1
            if wrong:
                misses[row] += 1
                print(f"seed={seed} row={row} variant={case.variant!r} {case.way.text()} {path.suffix}: {wrong}")
                sys.stdout.flush()
                if options.keep:
                    options.keep.mkdir(parents=True, exist_ok=True)
                    path.rename(options.keep / path.name)
            path.unlink(missing_ok=True)
    for row, count in sorted(tally.items()):
        print(f"{row}: {count - misses[row]} of {count} as expected")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
