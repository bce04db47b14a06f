"""A last line in words, as some exporters write behind the rows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import Capture, DigitalLine, open_capture
from pdcheck.errors import CaptureError

SAMPLES = "Time [s],CC1,CC2\n" + "".join(f"{i * 1e-6:.6f},{i // 50 % 2},{i // 70 % 2}\n" for i in range(60_000))
CHANGES = "Time [s],CC1,CC2\n" + "".join(f"{i * i * 1e-7:.7f},{i % 2},{i // 2 % 2}\n" for i in range(300))


def opened(path: Path, text: str) -> Capture:
    path.write_text(text)
    return open_capture(path)


@pytest.mark.parametrize("text", [SAMPLES, CHANGES, CHANGES[:400].rsplit("\n", 1)[0] + "\n"])
@pytest.mark.parametrize("ending", ["\n", "", "\r\n", "\n\n\n", "\r\n\r\n"])
@pytest.mark.parametrize("footer", [
    "Total rows: 420000", "total_rows = 420000", "End of data", "EOF", '"Total rows: 420000"', "Rows exported: 420,000",
    "Total rows: 420000,,", "Total rows: 420000,,,,", "Zeilen gezählt: 12",
])  # fmt: skip
def test_a_last_line_in_words_is_passed_over(tmp_path: Path, text: str, footer: str, ending: str) -> None:
    plain, found = opened(tmp_path / "a.csv", text), opened(tmp_path / "b.csv", text + footer + ending)
    assert (plain.duration_s, plain.kind) == (found.duration_s, found.kind)
    for one, other in zip(plain.lines, found.lines, strict=True):
        assert isinstance(one, DigitalLine)
        assert isinstance(other, DigitalLine)
        assert np.array_equal(one.edges_s, other.edges_s)


@pytest.mark.parametrize("text", [SAMPLES, CHANGES])
@pytest.mark.parametrize("tail", [
    "Total rows: 420000\n99.5,0,0\n", "0.5,1\n", "nan,1\n", "-,1\n", "99.5;0;0\n", "Total: 4\nTotal: 5\n",
])  # fmt: skip
def test_what_is_not_one_last_line_in_words_is_not(tmp_path: Path, text: str, tail: str) -> None:
    with pytest.raises(CaptureError) as caught:
        opened(tmp_path / "a.csv", text + tail)
    assert caught.value.line == text.count("\n") + 1
