"""The BMC line as the specification wants it: rates, levels, times.

Why it is: the line room bounds its search by these, and the report says how a signal compares with them.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_REF = "USB PD, section 5.8 (BMC physical layer) and its parameter tables"

BIT_RATE = Limit(
    "fBitRate", 270, 300, 330, "kbit/s",
    "bit rate of the BMC signal",
    _REF, "memory",
)
BIT_RATE_DRIFT = Limit(
    "pBitRate", None, None, 0.25, "%",
    "drift of the bit rate within one packet",
    _REF, "memory",
)
UNIT_INTERVAL = Limit(
    "tUnitInterval", 3.03, 3.33, 3.70, "us",
    "one bit",
    _REF, "follows from fBitRate",
)
SWING = Limit(
    "vSwing", 1.05, 1.125, 1.2, "V",
    "amplitude of the BMC signal on CC",
    _REF, "memory",
)
RISE_FALL = Limit(
    "tRise/tFall", 300, None, None, "ns",
    "10 % to 90 % edge time",
    _REF, "memory",
)
INTER_FRAME_GAP = Limit(
    "tInterFrameGap", 25, None, None, "us",
    "between the end of one packet and the start of the next",
    _REF, "memory",
)
END_DRIVE_BMC = Limit(
    "tEndDriveBMC", None, None, 23, "us",
    "driver off after the end of the packet",
    _REF, "memory",
)
HOLD_LOW_BMC = Limit(
    "tHoldLowBMC", 1, None, None, "us",
    "line held low at the end",
    _REF, "memory",
)
TRANSITION_WINDOW = Limit(
    "tTransitionWindow", 12, None, 20, "us",
    "window in which three transitions mean the line is busy",
    _REF, "memory",
)
TRANSITION_COUNT = Limit(
    "nTransitionCount", 3, 3, 3, "",
    "transitions in that window",
    _REF, "memory",
)
RX_FILTER = Limit(
    "tRxFilter", 100, None, None, "ns",
    "receiver input filter",
    _REF, "memory",
)
DRIVER = Limit(
    "zDriver", 33, None, 75, "ohm",
    "transmitter output impedance",
    _REF, "memory",
)
RECEIVER = Limit(
    "cReceiver", 200, None, 600, "pF",
    "receiver capacitance on CC",
    _REF, "memory",
)

ALL: tuple[Limit, ...] = (
    BIT_RATE,
    BIT_RATE_DRIFT,
    UNIT_INTERVAL,
    SWING,
    RISE_FALL,
    INTER_FRAME_GAP,
    END_DRIVE_BMC,
    HOLD_LOW_BMC,
    TRANSITION_WINDOW,
    TRANSITION_COUNT,
    RX_FILTER,
    DRIVER,
    RECEIVER,
)
