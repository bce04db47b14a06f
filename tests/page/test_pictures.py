"""What the pictures are drawn from: overviews that lose nothing, bits that were read, waits that the rules know."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.capture.envelope import envelope
from pdcheck.capture.model import AnalogLine, DigitalLine, Role
from pdcheck.line.closeup import bits_of, cc_line, edges_around
from pdcheck.report.page.fields import spans_of
from pdcheck.report.page.picture import Axis, Picture, tick_step
from pdcheck.report.page.timing import WaitState, waits
from pdcheck.report.page.wave import bits_after_preamble, wave_of
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop
from tests.page.reports import DEMOS, demo
from tests.reference.second_encoder import packet_bits

TIMES = st.lists(st.floats(0.0, 10.0, allow_nan=False), min_size=0, max_size=30, unique=True).map(sorted)


def held(times: list[float], values: list[float], start: float, end: float) -> list[float]:
    """Every value that a line had from start to end, by its definition: each holds until the next."""
    return [
        value for n, value in enumerate(values)
        if times[n] <= end and (n + 1 == len(times) or times[n + 1] > start)
    ]


@settings(max_examples=150, deadline=None)
@given(times=TIMES, data=st.data(), columns=st.integers(1, 40))
def test_an_overview_keeps_every_value(times: list[float], data: st.DataObject, columns: int) -> None:
    values = data.draw(st.lists(st.floats(-5, 50, allow_nan=False), min_size=len(times), max_size=len(times)))
    line = AnalogLine("VBUS", Role.VBUS, "V", np.array(times), np.array(values))
    seen = envelope(line, 1.0, 9.0, columns)
    bounds = np.linspace(1.0, 9.0, columns + 1).tolist()
    for n in range(columns):
        inside = held(times, values, bounds[n], bounds[n + 1])
        assert seen.low[n] == (min(inside) if inside else None)
        assert seen.high[n] == (max(inside) if inside else None)


@settings(max_examples=100, deadline=None)
@given(times=TIMES, initial=st.booleans(), columns=st.integers(1, 40))
def test_an_overview_of_two_levels_keeps_every_edge(times: list[float], initial: bool, columns: int) -> None:
    line = DigitalLine("CC1", Role.CC1, initial, np.array(times))
    seen = envelope(line, 1.0, 9.0, columns)
    bounds = np.linspace(1.0, 9.0, columns + 1).tolist()
    levels = [float(initial)] + [float(initial ^ (n % 2 == 0)) for n in range(len(times))]
    for n in range(columns):
        inside = held([-1.0, *times], levels, bounds[n], bounds[n + 1])
        assert (seen.low[n], seen.high[n]) == (min(inside), max(inside))


def test_a_spike_of_one_sample_in_a_million_is_seen() -> None:
    values = np.full(1_000_000, 5.0)
    values[654_321] = 0.3
    line = AnalogLine("VBUS", Role.VBUS, "V", np.arange(1e6) * 1e-6, values)
    seen = envelope(line, 0.0, 1.0, 900)
    assert min(v for v in seen.low if v is not None) == 0.3
    assert sum(v == 0.3 for v in seen.low) == 1


@pytest.mark.parametrize("name", DEMOS)
def test_the_bits_under_a_wave_are_the_bits_on_the_wire(name: str) -> None:
    """Against the second encoder (tests/reference), and against what is read off the captured edges."""
    report = demo(name)
    line = cc_line(report.reading)
    intact = [t for t in report.conversation.transmissions if t.packet.intact]
    for one in intact[:12]:
        packet = one.packet
        assert packet.sop is not None and line is not None
        whole = "".join(str(bit) for bit in packet_bits(packet.data, packet.sop.value))
        after = bits_after_preamble(packet.sop, packet.data)
        assert whole[64:] == after
        wave = wave_of(line, None, packet, one.message)
        assert "".join(cell.words for cell in wave.bits[wave.first :]) == after
        read = bits_of(line, packet)
        assert read is not None
        assert after[:-1] in "".join(str(b) for b in read.bits)
        # Every edge of the packet stands at the start or the middle of a bit; a threshold off the middle moves it.
        bit_s = wave.bits[0].end_s - wave.bits[0].start_s
        slack = (abs(packet.skew_s) / 2 + 6 * packet.jitter_s) / bit_s + 0.08
        for t_s in edges_around(line, packet.start_s, packet.end_s).times_s:
            if wave.bits[0].end_s < t_s < packet.end_s - bit_s:
                place = (t_s - wave.bits[0].start_s) / (bit_s / 2)
                assert abs(place - round(place)) / 2 < slack


@pytest.mark.parametrize("name", DEMOS)
def test_what_the_bytes_are_adds_up(name: str) -> None:
    for one in demo(name).conversation.transmissions:
        if one.message is not None:
            assert sum(size for _, size in spans_of(one.message)) == len(one.message.data)


def test_symbols_are_named_by_the_code() -> None:
    report = demo("scanner_charges_at_9v.csv")
    line = cc_line(report.reading)
    assert line is not None
    one = next(t for t in report.conversation.transmissions if t.name == "Request")
    symbols = [cell.words for cell in wave_of(line, None, one.packet, one.message).symbols]
    assert symbols[:4] == ["Sync-1", "Sync-1", "Sync-1", "Sync-2"]
    assert symbols[-1] == "EOP"
    # The low half of each byte goes first.
    assert "".join(symbols[4:-9]) == "".join(f"{b & 15:X}{b >> 4:X}" for b in one.packet.data)


def test_a_wait_stands_beside_its_limit() -> None:
    missing = [w for w in waits(demo("tablet_never_asks.csv").conversation) if w.state is WaitState.MISSING]
    assert len(missing) == 4
    for wait in missing:
        assert wait.limit is timers.RECEIVER_RESPONSE
        # The demo's charger resets 28 ms after the GoodCRC (tablet_never_asks.talk).
        assert wait.length_s == pytest.approx(28e-3, abs=1.5e-3)
        assert wait.ended_by == "a Hard Reset"


def test_a_good_negotiation_has_no_wait_over_its_limit() -> None:
    found = waits(demo("scanner_charges_at_9v.csv").conversation)
    assert [w.what for w in found] == ["the device asks", "the charger answers", "the charger says ready"]
    assert {w.state for w in found} == {WaitState.IN_TIME}


def test_a_forgotten_renewal_is_a_wait() -> None:
    over = [w for w in waits(demo("tablet_forgets_pps.csv").conversation) if w.state is WaitState.MISSING]
    assert [w.limit for w in over] == [timers.PPS_REQUEST]


def test_ticks_are_round_and_inside() -> None:
    for start, end in ((0.0, 684e-3), (4.0102, 4.0118), (0.0, 600.0), (12.3456, 12.3457), (0.0, 1e-5)):
        ticks = Axis(start, end, 0, 900).ticks()
        assert 2 <= len(ticks) <= 17
        assert all(start - 1e-12 <= t <= end + 1e-12 for t, _ in ticks)
        assert len({words for _, words in ticks}) == len(ticks)
    assert tick_step(0.003) == pytest.approx(0.005)


def test_words_in_a_picture_stay_words() -> None:
    picture = Picture(100, 20, "<b>&\u202e", "x")
    picture.text(0, 0, "</svg><script>\u2028")
    assert "<b>" not in picture.markup() and "<script>" not in picture.markup()
    assert "\u2028" not in picture.markup() and "\u202e" not in picture.markup()


def test_a_reset_has_no_bytes_under_its_wave() -> None:
    assert len(bits_after_preamble(Sop.HARD_RESET, b"")) == 20
