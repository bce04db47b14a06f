"""The same conversation at other times is alike; and nothing counts that the standard leaves open."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from pdcheck import check, decode, open_capture
from pdcheck.comparison import Alike, compare
from pdcheck.comparison.model import Kind
from tests.comparison.sides import healthy_talk, judged, two_streams
from tests.reference.cases import Way, draw_ports
from tests.reference.healthy_talks import HEALTHY
from tests.reference.healthy_talks import NEEDS_R3X as HEALTHY_R3X
from tests.reference.second_encoder import LineManners
from tests.reference.talk import Talk
from tests.reference.wave_files import DIALECTS, Capture, write_edges


@pytest.mark.parametrize("name", sorted(HEALTHY))
def test_other_delays_and_bit_rates_are_alike(name: str) -> None:
    for content in range(6):
        good, bad = judged(healthy_talk(name, content, 1)), judged(healthy_talk(name, content, 2))
        found = compare(good, bad)
        assert found.outcome is Alike.ALIKE, f"{content}: {found.summary} {found.first}"
        assert found.partings == ()
        assert all(row.kind is Kind.SAME for row in found.rows)
        assert not any(m.counts for m in found.measures)
        assert compare(bad, good).outcome is Alike.ALIKE


@pytest.mark.parametrize("name", sorted(HEALTHY))
def test_a_recording_with_itself(name: str) -> None:
    one = judged(healthy_talk(name, 1, 1))
    found = compare(one, one)
    assert found.outcome is Alike.ALIKE
    assert not any(m.differs for m in found.measures)
    assert any("same recording" in note for note in found.notes)
    again = compare(one, judged(healthy_talk(name, 1, 2)))
    assert not any("same recording" in note for note in again.notes)


def _file(name: str, content: int, delays: int, folder: Path, *, rate_hz: float, idle: int, dialect: str) -> Path:
    rng = two_streams(f"{name}/{content}", f"{name}/{delays}")
    way = Way(idle=idle, rates=(rng.uniform(275e3, 325e3), rng.uniform(275e3, 325e3)))
    talk = Talk(rng, draw_ports(rng, way, r3x=name in HEALTHY_R3X), rng.uniform(0.05, 0.3))
    HEALTHY[name](talk)
    whole = talk.capture(LineManners(idle=idle, skew_s=rng.uniform(-0.3e-6, 0.3e-6), jitter_s=20e-9))
    shown = Capture(whole.cc.sampled(rate_hz), whole.vbus, whole.current)
    look = next(d for d in DIALECTS if d.name == dialect)
    return write_edges(folder / f"{name}{content}{delays}.csv", shown, look, random.Random(delays))


@pytest.mark.parametrize("name", ["plain", "cable_first", "lost_once", "another_contract"])
def test_files_at_other_rates_idle_levels_and_formats_are_alike(name: str, tmp_path: Path) -> None:
    for content in range(2):
        paths = (
            _file(name, content, 1, tmp_path, rate_hz=24e6, idle=0, dialect="vbus-current"),
            _file(name, content, 2, tmp_path, rate_hz=8e6, idle=1, dialect="vbus-gzip"),
        )
        good, bad = (check(decode(open_capture(str(path)))) for path in paths)
        assert good.reading.idle_high is False
        assert bad.reading.idle_high is True
        found = compare(good, bad)
        counted = [m for m in found.measures if m.counts and m.id != "current"]
        # What the device draws is drawn at random between a twentieth of an amp and the contract's limit.
        assert found.partings == ()
        assert counted == []
        assert not any(c.counts for c in found.contents)
        shown = {m.id for m in found.measures if m.good is not None and m.bad is not None}
        assert {"vbus_before", "vbus_contract", "current", "bit_rate_source", "bit_rate_sink", "skew"} <= shown


def test_one_with_vbus_and_one_without() -> None:
    good = judged(healthy_talk("plain", 2, 1))
    bad = judged(healthy_talk("plain", 2, 2, with_vbus=False))
    found = compare(good, bad)
    assert found.outcome is Alike.ALIKE
    assert "VBUS: only the good capture shows it." in found.not_compared
    assert "VBUS: only the bad capture shows it." in compare(bad, good).not_compared
    assert any("not judged in the bad capture" in line for line in found.not_compared)


def test_more_renewals_than_the_other_are_no_difference() -> None:
    seen = {len(judged(healthy_talk("pps_kept_alive", content, 1)).conversation.exchanges) for content in range(8)}
    assert len(seen) > 1, "the stories must differ in how often they renew"
    # The delay stream has no part in it, so the number of renewals is the content's.
    sides = [judged(healthy_talk("pps_kept_alive", content, 1)) for content in range(8)]
    for side in sides:
        moves = compare(side, sides[0]).rows
        asked = [row for row in moves if row.kind is not Kind.SAME]
        assert asked == []
