"""What a scenario says, once it is read.

Why it is: the reader of the text form and the player of it share these objects and nothing else. Every step knows
the line of the file it stands on, so that whatever goes wrong while playing can be named.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from pdcheck.standard.line_code import Sop


class Party(StrEnum):
    """Who can say something."""

    SOURCE = "source"
    SINK = "sink"
    CABLE = "cable"


class Form(StrEnum):
    """What a row of the file is: a change, a sample, or a value change dump's entry."""

    EDGES = "edges"
    SAMPLES = "samples"
    VCD = "vcd"


class ColumnKind(StrEnum):
    """What a column holds."""

    TIME = "time"
    CC = "cc"
    LOW = "low"
    HIGH = "high"
    VBUS = "vbus"
    CURRENT = "current"


class Trouble(StrEnum):
    """What goes wrong with a message."""

    SILENCE = "unacknowledged"
    WRONG_ID = "acknowledged as"
    LOST_ACKNOWLEDGEMENT = "lost acknowledgement"
    CORRUPT = "corrupt"


class Corruption(StrEnum):
    """How a packet is damaged: a few bits inverted, a symbol destroyed, or the sum wrong."""

    BITS = "bits"
    SYMBOL = "symbol"
    CRC = "crc"


@dataclass(frozen=True)
class Column:
    """A column of the file: its header, and for times the length of their unit in seconds."""

    kind: ColumnKind
    name: str
    unit_s: float = 1.0


@dataclass(frozen=True)
class Table:
    """How a CSV file is written."""

    separator: str = ","
    decimal: str = "."
    line_end: str = "\n"
    byte_order_mark: bool = False
    header: bool = True
    above: tuple[str, ...] = ()


@dataclass(frozen=True)
class Manners:
    """How the line, the drivers and the probe behave during a whole capture. Times in seconds.

    :ivar skew_s: rising edges come half of it late, falling ones half of it early.
    :ivar jitter_s: standard deviation of every edge.
    :ivar acknowledge_s: from the end of a message to the first bit of its GoodCRC.
    :ivar vbus_noise_v: standard deviation of the VBUS readings (``current_noise_a`` likewise).
    """

    idle: int = 0
    skew_s: float = 0.0
    jitter_s: float = 0.0
    lead_s: float = 0.8e-6
    release_s: float = 4e-6
    acknowledge_s: float = 60e-6
    vbus_noise_v: float = 0.0
    current_noise_a: float = 0.0
    rate_bps: Mapping[Party, float] = field(default_factory=lambda: dict.fromkeys(Party, 300e3))
    revision: Mapping[Party, int] = field(default_factory=lambda: dict.fromkeys(Party, 2))
    source_is_dfp: bool = True


@dataclass(frozen=True)
class Output:
    """The file: its name, its form and its columns.

    :ivar rate_hz: samples a second; for edges, the analyzer's grid they fall on (None: as they come).
    :ivar tick_s: one unit of a value change dump's times.
    :ivar every_s: how often slow columns get a row of their own between the changes.
    :ivar zero_s: the moment that the file calls time zero, from the capture's start.
    """

    name: str
    form: Form
    rate_hz: float | None = None
    tick_s: float = 1e-8
    columns: tuple[Column, ...] = ()
    table: Table = Table()
    every_s: float = 2e-3
    zero_s: float = 0.0
    zipped: bool = False


@dataclass(frozen=True)
class When:
    """A moment: from the capture's start, or from where the line above ended."""

    seconds: float
    relative: bool


@dataclass(frozen=True)
class Manner:
    """How one message is sent and received. None and empty: as usual.

    :ivar bad_tries: how many tries the trouble spoils before one succeeds; None: all of them.
    :ivar wrong_id: the MessageID that a wrong GoodCRC names, or how far off it is (``wrong_id_relative``).
    """

    sop: Sop | None = None
    message_id: int | None = None
    revision: int | None = None
    rate_bps: float | None = None
    acknowledge_s: float | None = None
    tries: int | None = None
    trouble: Trouble | None = None
    bad_tries: int | None = None
    corruption: Corruption = Corruption.BITS
    wrong_id: int = 0
    wrong_id_relative: bool = False
    cut_bits: int = 0
    keep_bits: int | None = None
    bad_kcode: int = 0


@dataclass(frozen=True)
class Send:
    """A message. ``body`` follows the header; ``raw`` stands for header and all where it is not empty."""

    line: int
    when: When
    party: Party
    name: str
    message_type: int
    object_count: int
    extended: bool
    body: bytes
    raw: bytes
    manner: Manner


@dataclass(frozen=True)
class Signal:
    """A Hard Reset or a Cable Reset."""

    line: int
    when: When
    party: Party
    sop: Sop
    manner: Manner


@dataclass(frozen=True)
class Ramp:
    """VBUS or the current goes to a value (volts or amps) in a straight line."""

    line: int
    when: When
    kind: ColumnKind
    value: float
    over_s: float


class LineMove(StrEnum):
    """What the CC line does while nobody talks."""

    LOW = "low"
    HIGH = "high"
    ATTACH = "attach"
    TOGGLES = "toggles"
    HUMS = "hums"
    SPIKES = "spikes"


@dataclass(frozen=True)
class Move:
    """The line moves by itself.

    :ivar per_s: toggles or hum in hertz, spikes a second. :ivar for_s: how long. :ivar width_s: of a spike.
    """

    line: int
    when: When
    what: LineMove
    per_s: float = 0.0
    for_s: float = 0.0
    width_s: float = 0.0


@dataclass(frozen=True)
class Mark:
    """The capture starts or ends here."""

    line: int
    when: When
    starts: bool


@dataclass(frozen=True)
class Repeat:
    """Steps that come several times, each time ``every_s`` after the last began (0: one after the other)."""

    line: int
    times: int
    every_s: float
    steps: tuple[Step, ...]


Step = Send | Signal | Ramp | Move | Mark | Repeat


@dataclass(frozen=True)
class Scenario:
    """A whole scenario: what it is called, how it is written, and what happens."""

    path: str
    title: str
    seed: str
    manners: Manners
    output: Output
    steps: tuple[Step, ...]
