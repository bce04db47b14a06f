"""BIST data objects: built-in self test, met on the bench when a test adapter is attached.

Why it is: a port in a test mode answers nothing, which looks like a dead port. (USB PD R2.0 section
6.4.3 and R3.2 section 6.4.3; modes 0 to 8 compared with Linux 6.1 pd_bdo.h, 9 and 10 from memory.)
"""

from __future__ import annotations

from pdcheck.messages.layout import Choice, Number, Reserved, table, word
from pdcheck.messages.model import DataObject

MODES = {
    0: "BIST Receiver Mode",
    1: "BIST Transmit Mode",
    2: "Returned BIST Counters",
    3: "BIST Carrier Mode 0",
    4: "BIST Carrier Mode 1",
    5: "BIST Carrier Mode",
    6: "BIST Carrier Mode 3",
    7: "BIST Eye Pattern",
    8: "BIST Test Data",
    9: "BIST Shared Test Mode Entry",
    10: "BIST Shared Test Mode Exit",
}
_COUNTERS = 2
_TEST_DATA = 8

_MODE = "mode" / Choice(4, MODES) * "test mode (0 to 4, 6 and 7 are of R2.0 only)"

LAYOUTS = table(
    word("bist.mode", "bist", _MODE, Reserved(28), title="BIST data object"),
    word(
        "bist.counters", "bist",
        _MODE,
        Reserved(12),
        "returned_error_counters" / Number(16) * "bit errors counted (R2.0)",
        title="BIST data object with counters",
    ),
)


def parse_bist(raw: int) -> DataObject:
    """The BIST data object in a 32-bit word."""
    return LAYOUTS["bist.counters" if raw >> 28 == _COUNTERS else "bist.mode"].parse_word(raw)


def read(words: tuple[int, ...]) -> tuple[DataObject, ...]:
    """The objects of a BIST message: the mode, then test data that means nothing."""
    if not words:
        return ()
    kind = "bist_test_data" if words[0] >> 28 == _TEST_DATA else "unknown"
    return (parse_bist(words[0]), *(DataObject(kind, raw) for raw in words[1:]))
