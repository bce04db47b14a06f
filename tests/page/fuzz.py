"""Random conversations, healthy, faulty and doubtful, each made into its pages: none may fail to be drawn.

``python -m tests.page.fuzz --seed 1 --count 200``; a few of them run with the tests.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from pdcheck import check, decode, open_capture
from pdcheck.errors import PdcheckError
from pdcheck.report.page import comparison_html, page_html
from tests.page.test_page import Markup
from tests.reference.cases import MORE_ROWS, ROWS, draw_case, write_case
from tests.reference.doubtful import DOUBTFUL, doubtful_case
from tests.reference.families import FAMILIES, draw, write_family

EVERY = (*ROWS, *MORE_ROWS, *DOUBTFUL, *FAMILIES)


def drawn(row: str, seed: int, folder: Path) -> None:
    """Make a case and its pages; an exception or an assertion says what is wrong with one."""
    if row in FAMILIES:
        path = write_family(draw(row, seed), folder)[1]
    elif row in DOUBTFUL:
        path = write_case(doubtful_case(row, seed), folder, "vcd" if seed % 3 == 0 else "edges", f"{row}_{seed}")
    else:
        case, form = draw_case(row, seed, wide=True)
        path = write_case(case, folder, form, f"{row}_{seed}")
    try:
        report = check(decode(open_capture(str(path))))
    except PdcheckError:
        return
    page = page_html(report)
    markup = Markup(page)
    assert markup.open == [] and markup.island.startswith("{")
    assert len(page) < 1_500_000, len(page)
    assert not Markup(page_html(report, audience="customer")).open
    assert not Markup(comparison_html(report, report, parting_s=(0.3, None))).open
    path.unlink()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    options = parser.parse_args()
    wrong = 0
    with tempfile.TemporaryDirectory() as name:
        for seed in range(options.seed, options.seed + options.count):
            row = EVERY[seed % len(EVERY)]
            try:
                drawn(row, seed, Path(name))
            except Exception as error:
                wrong += 1
                print(f"row={row} seed={seed}: {type(error).__name__}: {error}")
    print(f"{options.count - wrong} of {options.count} drawn")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
