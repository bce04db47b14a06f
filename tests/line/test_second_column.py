"""The other CC column: a talk of its own is kept, crosstalk and a probe that joins both are not.

Bits and their times come from the second encoder, which shares no code with the decoder.
"""

from __future__ import annotations

import random
from dataclasses import replace

from pdcheck.capture.model import Role
from pdcheck.line import read_capture
from tests.line.test_reading import WAVE, capture, cc, digital
from tests.line.waves import talk, wave_of


def test_a_talk_of_its_own_is_kept() -> None:
    few = wave_of(talk(4, random.Random(2)))
    after = WAVE.end_s + 0.1
    moved = digital(few, "CC2", Role.CC2)
    moved = replace(moved, edges_s=moved.edges_s + after)
    reading = read_capture(capture(cc("CC1", Role.CC1), moved, duration_s=after + 1.0))
    assert reading.cc == "CC1"
    assert reading.second is not None and reading.second.cc == "CC2"
    assert len(reading.second.packets) == 4 and all(p.start_s > after - 1e-3 for p in reading.second.packets)


def test_what_is_there_at_the_same_times_is_crosstalk() -> None:
    assert read_capture(capture(cc("CC1", Role.CC1))).second is None
    both = cc("CC2", Role.CC2)
    for late_s in (0.0, 2e-6):
        moved = replace(both, edges_s=both.edges_s + late_s)
        assert read_capture(capture(cc("CC1", Role.CC1), moved)).second is None
