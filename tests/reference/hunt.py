"""Looks for conversations that the checker judges wrongly: `python -m tests.reference.hunt --seed 1 --count 200`.

Every mismatch is printed with its seed, row and variant; `--keep FOLDER` keeps its file, `--row` makes one row again.
`--families` takes the rows of `families.py`, by turns: as files through the finished command, or (`--fast`) as packets.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from importlib import import_module
from pathlib import Path

from tests.reference.cases import MORE_ROWS, ROWS, Case, draw_case, write_case
from tests.reference.doubtful import DOUBTFUL, doubtful_case
from tests.reference.families import FAMILIES, draw, outcome, write_family
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


def one_of_family(name: str, seed: int, folder: Path, *, fast: bool) -> tuple[str, str, Path | None]:
    """Make and judge one conversation of a family: its variant, what is wrong, and its file."""
    if fast:
        packets = import_module("tests.reference.fast").judge(name, seed)
        return packets.drawn.variant, _wrong(packets.kind, packets.text), None
    drawn = draw(name, seed)
    case, path = write_family(drawn, folder)
    try:
        status, report = judge(path)
        kind, text = outcome(drawn, report) if status != 2 else ("misses", report["summary"])
        lost = mismatch(case, status, report)
        if "intact packets sent" in lost and drawn.world.turned_s is None:
            kind, text = "misses" if kind == "right" else kind, f"{text} ({lost})"
        return f"{case.variant} {case.way.text()}", _wrong(kind, text), path
    except Exception as error:
        last = " | ".join(str(error).strip().splitlines()[-3:])
        return case.variant, f"{type(error).__name__}: {last}", path


def _wrong(kind: str, text: str) -> str:
    return f"{kind}: {text}" if text else ""


def hunt_families(options: argparse.Namespace, folder: Path) -> int:
    """Every family row by turns, or one."""
    names = [options.row] if options.row else sorted(FAMILIES)
    tally: Counter[str] = Counter()
    misses: Counter[str] = Counter()
    for seed in range(options.seed, options.seed + options.count):
        name = names[seed % len(names)]
        variant, wrong, path = one_of_family(name, seed, folder, fast=options.fast)
        tally[name] += 1
        if wrong:
            misses[name] += 1
            print(f"seed={seed} row={name} variant={variant!r} {path.suffix if path else 'packets'}: {wrong}")
            sys.stdout.flush()
        if path is not None and wrong and options.keep:
            options.keep.mkdir(parents=True, exist_ok=True)
            path.rename(options.keep / path.name)
        elif path is not None:
            path.unlink(missing_ok=True)
    for name, count in sorted(tally.items()):
        print(f"{name}: {count - misses[name]} of {count} as expected")
    return 1 if misses else 0


def main() -> int:
    """Run the hunt; the exit status is 1 if there was a mismatch."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="first seed")
    parser.add_argument("--count", type=int, default=100, help="how many seeds")
    parser.add_argument("--row", help="only this row (else half healthy)")
    parser.add_argument("--doubtful", action="store_true", help="only captures that do not show everything")
    parser.add_argument("--wide", action="store_true", help="skew, jitter and flaws up to what the standard allows")
    parser.add_argument("--keep", type=Path, help="keep the files of mismatches here")
    parser.add_argument("--families", action="store_true", help="the rows of families.py, by turns")
    parser.add_argument("--fast", action="store_true", help="families as packets, without a waveform")
    options = parser.parse_args()
    known = tuple(FAMILIES) if options.families else ROWS + MORE_ROWS + DOUBTFUL
    if options.row and options.row not in known:
        parser.error(f"no row {options.row!r}; there are: {', '.join(known)}")
    if options.families:
        with tempfile.TemporaryDirectory() as name:
            return hunt_families(options, Path(name))
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
