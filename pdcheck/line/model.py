"""What the line room hands on: packets, the bursts it could not read, and how good the signal was.

Why it is: later rooms argue about who was silent. For that they must see not only what was read but also
where something was sent that this capture could not read.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from pdcheck.capture.model import Capture
from pdcheck.standard.line_code import Sop


class Crc(StrEnum):
    """State of a packet's CRC: BAD for any packet that a receiver would not accept, NONE for reset signals."""

    OK = "ok"
    BAD = "bad"
    NONE = "none"


class Problem(StrEnum):
    """Why a packet could not be read whole, in words for a report."""

    NO_START = "no start-of-packet was found after the preamble"
    CUT_SHORT = "it breaks off before its end"
    BAD_SYMBOL = "it holds a five-bit symbol that the code does not have"
    BAD_CRC = "its checksum (CRC) does not match"


class Packet(NamedTuple):
    """One packet or reset signal on the line, whole or broken. A tuple, for a long capture makes a million of them.

    ``data`` holds header and objects as on the wire, without CRC (empty for a reset signal; what could be
    read for a broken packet). ``sop`` is None where no ordered set was found. Times in seconds from the
    start of the capture: first edge of the preamble, end of the last symbol. ``skew_s``: by how much high
    pulses are longer than low ones. ``jitter_s``: rms distance of the edges from the recovered bit grid.
    """

    start_s: float
    end_s: float
    sop: Sop | None
    data: bytes
    crc: Crc
    problem: Problem | None
    bit_rate_bps: float
    skew_s: float
    jitter_s: float
    preamble_bits: int

    @property
    def intact(self) -> bool:
        """True for a packet that a receiver would accept."""
        return self.problem is None


@dataclass(frozen=True)
class Burst:
    """A run of edges that is no packet. ``like_traffic`` is True where length and pace suggest that it
    was one and could not be read; False for stray toggling."""

    start_s: float
    end_s: float
    edges: int
    like_traffic: bool


@dataclass(frozen=True)
class SignalQuality:
    """How good the signal was, over all intact packets (None where there were none)."""

    packets: int
    broken_packets: int
    crc_errors: int
    unreadable_bursts: int
    stray_edges: int
    bit_rate_bps: float | None
    bit_rate_min_bps: float | None
    bit_rate_max_bps: float | None
    duty_skew_s: float | None
    jitter_s: float | None
    time_step_s: float | None


@dataclass(frozen=True, eq=False)
class LineReading:
    """Everything read off one CC line.

    ``capture`` has its roles and its time base settled. ``cc`` is the name of the column that was read;
    None where no column bears traffic and none is called CC. ``idle_high``: the level between packets
    as the file shows it. ``notes``: what the reader should know about how the column was chosen,
    and about what of the file was not kept. ``unit_hint``: where nothing can be read, in what other unit of time
    than the stated one the pulses would be packets. ``other_cc``: where the user chose a column in which nothing can be
    read, the name of one in which packets can. ``second``: the other CC column, where it bears packets at times
    at which this one bears none.
    """

    capture: Capture
    cc: str | None
    packets: tuple[Packet, ...]
    bursts: tuple[Burst, ...]
    quality: SignalQuality
    idle_high: bool | None
    notes: tuple[str, ...] = field(default=())
    unit_hint: str | None = None
    other_cc: str | None = None
    second: LineReading | None = None
