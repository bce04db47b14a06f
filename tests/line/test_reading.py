"""Which column is CC, in what unit its times are, and what is said about it."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from pdcheck.capture.model import AnalogLine, DigitalLine, Role
from pdcheck.line import LineReading, read_capture
from pdcheck.line.reading import bit_rate_in_standard
from tests.line.analog import Scope, scope_line
from tests.line.waves import PLAIN, capture, digital, talk, wave_of

PACKETS = talk(10, random.Random(1))
WAVE = wave_of(PACKETS)
SENT = [packet.payload for packet in PACKETS]
END_S = WAVE.end_s


def cc(name: str = "CC1", role: Role = Role.CC1) -> DigitalLine:
    return digital(WAVE, name, role)


def still(name: str, role: Role = Role.OTHER, *, level: bool = False) -> DigitalLine:
    return DigitalLine(name, role, level, np.zeros(0))


def clock(name: str, period_s: float, role: Role = Role.OTHER, end_s: float = END_S) -> DigitalLine:
    return DigitalLine(name, role, False, np.arange(1, int(end_s / period_s * 2)) * period_s / 2)


def test_a_column_called_cc() -> None:
    reading = read_capture(capture(still("Channel 0"), cc(), still("Channel 2", level=True)))
    assert reading.cc == "CC1"
    assert [p.data for p in reading.packets] == SENT
    assert reading.notes == ()


@pytest.mark.parametrize("place", range(4))
def test_a_column_of_no_name(place: int) -> None:
    lines = [still(f"Channel {n}", level=bool(n % 2)) for n in range(4)]
    lines[place] = cc(f"Channel {place}", Role.OTHER)
    reading = read_capture(capture(*lines))
    assert reading.cc == f"Channel {place}"
    assert [p.data for p in reading.packets] == SENT
    assert len(reading.notes) == 1
    assert f"Channel {place}" in reading.notes[0] and "was read as CC" in reading.notes[0]
    # It has the role from now on, and the others keep theirs.
    roles = {line.name: line.role for line in reading.capture.lines}
    assert roles.pop(f"Channel {place}") is Role.CC1
    assert set(roles.values()) == {Role.OTHER}


def test_the_wrong_column_is_called_cc() -> None:
    reading = read_capture(capture(still("CC1", Role.CC1), cc("D3", Role.OTHER)))
    assert reading.cc == "D3"
    assert [p.data for p in reading.packets] == SENT
    assert len(reading.notes) == 1
    assert '"CC1"' in reading.notes[0] and '"D3"' in reading.notes[0]


@pytest.mark.parametrize("role", [Role.VBUS, Role.CURRENT])
def test_a_column_of_another_role_is_never_taken(role: Role) -> None:
    reading = read_capture(capture(cc("VBUS", role), still("CC1", Role.CC1)))
    assert reading.cc == "CC1" and not reading.packets
    assert reading.idle_high is False


def test_other_buses_are_not_taken_for_cc() -> None:
    lines = [clock("SCL", 2.5e-6), clock("PWM", 40e-6), clock("UART", 8.68e-6), cc("D5", Role.OTHER)]
    reading = read_capture(capture(*lines))
    assert reading.cc == "D5"
    assert [p.data for p in reading.packets] == SENT


def test_a_named_column_with_traffic_is_taken_whatever_else_there_is() -> None:
    busier = digital(wave_of(talk(30, random.Random(2))), "D0", Role.OTHER)
    reading = read_capture(capture(busier, cc()))
    assert reading.cc == "CC1" and [p.data for p in reading.packets] == SENT


@pytest.mark.parametrize("swapped", [False, True])
def test_two_cc_columns_of_which_one_talks(swapped: bool) -> None:
    names = ("CC2", "CC1") if swapped else ("CC1", "CC2")
    roles = {"CC1": Role.CC1, "CC2": Role.CC2}
    reading = read_capture(capture(cc(names[0], roles[names[0]]), still(names[1], roles[names[1]], level=True)))
    assert reading.cc == names[0]
    assert [p.data for p in reading.packets] == SENT
    assert reading.notes == ()


@pytest.mark.parametrize("more", ["CC1", "CC2"])
def test_two_cc_columns_that_both_talk(more: str) -> None:
    few = wave_of(talk(4, random.Random(2)))
    lines = [
        digital(WAVE if more == "CC1" else few, "CC1", Role.CC1),
        digital(WAVE if more == "CC2" else few, "CC2", Role.CC2),
    ]
    reading = read_capture(capture(*lines))
    assert reading.cc == more
    assert [p.data for p in reading.packets] == SENT
    assert len(reading.notes) == 1 and more in reading.notes[0] and "Both" in reading.notes[0]


def test_both_cc_columns_joined_by_a_probe_are_one_conversation() -> None:
    reading = read_capture(capture(cc("CC1", Role.CC1), cc("CC2", Role.CC2)))
    assert [p.data for p in reading.packets] == SENT


def test_no_traffic_but_a_column_called_cc() -> None:
    for level in (False, True):
        reading = read_capture(capture(still("CC1", Role.CC1, level=level)))
        assert reading.cc == "CC1"
        assert reading.idle_high is level
        assert not reading.packets and not reading.bursts
        assert reading.quality.bit_rate_bps is None and reading.quality.packets == 0


def test_no_column_that_could_be_cc() -> None:
    volts = AnalogLine("VBUS", Role.VBUS, "V", np.array([0.0, 1.0]), np.array([5.0, 5.1]))
    for lines in ([], [still("D0")], [volts], [clock("D0", 40e-6)]):
        reading = read_capture(capture(*lines, duration_s=1.0))
        assert reading.cc is None
        assert reading.idle_high is None
        assert not reading.packets


def test_a_quiet_column_in_volts_called_cc_is_still_called_so() -> None:
    """``LineReading.cc`` is None only where no column bears traffic and none is called CC."""
    times = np.arange(2000) * 1e-6
    reading = read_capture(capture(AnalogLine("CC1", Role.CC1, "V", times, np.full(2000, 0.92))))
    assert reading.cc == "CC1"


def test_a_column_in_volts_of_no_name() -> None:
    line = scope_line(PACKETS, Scope(0.9, 10e6), name="CH2", role=Role.OTHER)
    reading = read_capture(capture(line, still("D0")))
    assert reading.cc == "CH2"
    assert [p.data for p in reading.packets] == SENT
    assert len(reading.notes) == 1


def test_amps_are_never_cc() -> None:
    line = replace(scope_line(PACKETS, Scope(0.9, 10e6), name="I", role=Role.OTHER), unit="A")
    assert read_capture(capture(line)).cc is None


UNITS = [(1.0, None), (1e-3, "milliseconds"), (1e-6, "microseconds"), (1e-9, "nanoseconds")]


@pytest.mark.parametrize(("unit_s", "said"), UNITS)
@pytest.mark.parametrize("role", [Role.CC1, Role.OTHER])
def test_a_unit_that_nobody_stated(unit_s: float, said: str | None, role: Role) -> None:
    line = cc("CC1" if role is Role.CC1 else "D1", role)
    volts = AnalogLine("VBUS", Role.VBUS, "V", np.array([0.0, END_S]) / unit_s, np.array([5.0, 9.0]))
    as_read = capture(
        replace(line, edges_s=line.edges_s / unit_s), volts, duration_s=END_S / unit_s, period_s=4e-8 / unit_s,
        stated=False,
    )
    reading = read_capture(replace(as_read, start_s=-0.25 / unit_s))
    assert [p.data for p in reading.packets] == SENT
    for one, packet in zip(reading.packets, PACKETS, strict=True):
        assert one.start_s == pytest.approx(packet.start_s, abs=1e-6)
    # Everything that has a time has it in seconds from now on.
    assert reading.capture.duration_s == pytest.approx(END_S)
    assert reading.capture.start_s == pytest.approx(-0.25)
    assert reading.capture.sample_period_s == pytest.approx(4e-8)
    assert reading.quality.time_step_s == pytest.approx(4e-8)
    scaled = reading.capture.lines[1]
    assert isinstance(scaled, AnalogLine)
    assert scaled.times_s[-1] == pytest.approx(END_S)
    notes = [note for note in reading.notes if "unit" in note]
    assert len(notes) == (0 if said is None else 1)
    if said is not None:
        assert said in notes[0]


@pytest.mark.parametrize("unit_s", [1.0, 1e-3, 1e-6])
def test_a_stated_unit_is_not_argued_with(unit_s: float) -> None:
    line = cc()
    reading = read_capture(capture(replace(line, edges_s=line.edges_s / unit_s), duration_s=END_S / unit_s))
    assert reading.quality.packets == (10 if unit_s == 1.0 else 0)
    assert reading.capture.duration_s == pytest.approx(END_S / unit_s)
    assert not any("the traffic fits" in note for note in reading.notes)


def test_no_unit_and_no_traffic() -> None:
    as_read = capture(clock("CC1", 0.1, Role.CC1, end_s=3.0), duration_s=3.0, stated=False)
    reading = read_capture(as_read)
    assert reading.capture.duration_s == 3.0
    assert reading.notes == () and not reading.packets


def test_another_columns_pulses_do_not_choose_the_unit() -> None:
    """Times in seconds without a unit: pulses of 2 ms would be those of BMC if the times were milliseconds."""
    packets = talk(4, random.Random(3))
    lines = [digital(wave_of(packets)), clock("D7", 4e-3, end_s=8.0)]
    reading = read_capture(capture(*lines, duration_s=8.0, stated=False))
    assert [p.data for p in reading.packets] == [p.payload for p in packets]


@pytest.mark.parametrize("idle", [0, 1])
def test_idle_level(idle: int) -> None:
    reading = read_capture(capture(digital(wave_of(PACKETS, replace(PLAIN, idle=idle)))))
    assert reading.idle_high is bool(idle)


@pytest.mark.parametrize("rate_hz", [1e6, 1.5e6, 2e6, 4e6, 8e6, 12e6, 24e6])
def test_time_step_of_a_file_of_changes(rate_hz: float) -> None:
    wave = wave_of(talk(20, random.Random(4))).sampled(rate_hz)
    assert read_capture(capture(digital(wave))).quality.time_step_s == pytest.approx(1 / rate_hz, rel=1e-3)


@pytest.mark.parametrize("rate_hz", [4e6, 12e6, 24e6])
def test_time_step_of_times_printed_to_the_nanosecond(rate_hz: float) -> None:
    wave = wave_of(talk(20, random.Random(4))).sampled(rate_hz)
    line = digital(wave)
    printed = replace(line, edges_s=np.round(line.edges_s, 9))
    assert read_capture(capture(printed)).quality.time_step_s == pytest.approx(1 / rate_hz, rel=1e-3)


def test_exact_times_have_no_step() -> None:
    jittered = wave_of(talk(20, random.Random(4)), replace(PLAIN, jitter_s=15e-9))
    assert read_capture(capture(digital(jittered))).quality.time_step_s is None


def test_the_same_capture_gives_the_same_reading() -> None:
    one, two = read_capture(capture(cc(), clock("D1", 9e-6))), read_capture(capture(cc(), clock("D1", 9e-6)))
    assert (one.packets, one.bursts, one.quality, one.notes) == (two.packets, two.bursts, two.quality, two.notes)


@pytest.mark.parametrize(("rate_bps", "allowed"), [(269.9e3, False), (270e3, True), (330e3, True), (330.1e3, False)])
def test_bit_rate_in_standard(rate_bps: float, allowed: bool) -> None:
    assert bit_rate_in_standard(rate_bps) is allowed


@pytest.mark.parametrize("wrong", [
    still("D1", Role.CC1), AnalogLine("VBUS [V]", Role.CC1, "V", np.array([0.0, 1e-3]), np.array([5.0, 5.1])),
    clock("D1", 1e-3, Role.CC1),
])  # fmt: skip
@pytest.mark.parametrize("right", [cc("CC1", Role.OTHER), cc("CC2", Role.CC2)])
def test_the_column_that_the_user_calls_cc_is_read_whatever_it_bears(
    wrong: DigitalLine | AnalogLine, right: DigitalLine
) -> None:
    reading = read_capture(replace(capture(wrong, right), chosen=frozenset({Role.CC1})))
    assert reading.cc == wrong.name
    assert not reading.packets
    assert reading.notes == (
        f'No packet can be read from the column chosen as CC ("{wrong.name}"), but from "{right.name}", which was left '
        "alone, they can: check --cc.",
    )


def test_choosing_vbus_leaves_the_choice_of_cc_free() -> None:
    reading = read_capture(
        replace(capture(cc("D0", Role.OTHER), still("D1", Role.VBUS)), chosen=frozenset({Role.VBUS}))
    )
    assert reading.cc == "D0"
    assert reading.packets


WRONG_UNITS = [(1e-3, "a thousand times longer"), (1e3, "a thousand times shorter"),
               (1e-6, "a million times longer"), (1e6, "a million times shorter")]  # fmt: skip


def hints(reading: LineReading) -> list[str]:
    return [reading.unit_hint] if reading.unit_hint is not None else []


@pytest.mark.parametrize(("scale", "words"), WRONG_UNITS)
@pytest.mark.parametrize("called", [("CC1", Role.CC1), ("D3", Role.OTHER)])
def test_a_unit_that_the_file_states_wrongly_is_hinted_at(scale: float, words: str, called: tuple[str, Role]) -> None:
    line = cc(*called)
    reading = read_capture(capture(replace(line, edges_s=line.edges_s * scale), clock("D0", 2e-3)))
    assert not any(packet.intact for packet in reading.packets), "it is a hint; nothing is read with it"
    (hint,) = hints(reading)
    assert f"if the times were {words}" in hint


@pytest.mark.parametrize(("scale", "words"), WRONG_UNITS)
def test_the_same_of_cc_in_volts(scale: float, words: str) -> None:
    line = scope_line(PACKETS, Scope(0.9, 10e6))
    wrong = replace(line, times_s=line.times_s * scale)
    (hint,) = hints(read_capture(capture(wrong, period_s=1e-7 * scale)))
    assert f"if the times were {words}" in hint


@pytest.mark.parametrize("stated", [True, False])
def test_no_hint_where_something_is_read_or_nothing_would_be(stated: bool) -> None:
    assert not hints(read_capture(capture(cc(), stated=stated)))
    toggling = clock("CC1", 50e-3, Role.CC1, 20.0)
    for line in (toggling, clock("CC1", 5e-6, Role.CC1), still("CC1", Role.CC1), clock("CC1", 5e-3, Role.CC1, 9.0)):
        assert not hints(read_capture(capture(line, stated=stated)))


def test_no_hint_at_a_column_that_is_not_cc() -> None:
    for line, chosen in ((cc("D0", Role.VBUS), Role.VBUS), (cc("D0", Role.OTHER), Role.CC1)):
        wrong = replace(line, edges_s=line.edges_s * 1e3)
        reading = read_capture(
            replace(capture(wrong, still("D1", Role.CC1)), chosen=frozenset({chosen}))
        )
        assert not hints(reading)
