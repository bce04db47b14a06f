"""What the capture can carry, where the signal is too good to look like one."""

from __future__ import annotations

from pathlib import Path

from tests.reference.cases import draw_case, write_case
from tests.reference.judge import judge, mismatch


def test_a_very_clean_signal_is_not_taken_for_slow_sampling(tmp_path: Path) -> None:
    """All edges on half bits, every offer corrupt: the bit grid is not the sampling step."""
    case, form = draw_case("offers_corrupt", 31268)
    status, report = judge(write_case(case, tmp_path, form, "clean"))
    assert mismatch(case, status, report) == ""
    assert report["suspect"] == "link"
