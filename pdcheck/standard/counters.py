"""Counts: retries, offers, resets.

Why it is: how often a party tries before it gives up tells a patient source from a stuck one.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_REF = "USB PD, section 6.7 (counters)"

RETRY_COUNT_R3 = Limit(
    "nRetryCount (R3.x)", None, 2, None, "count",
    "retries of an unacknowledged message",
    _REF, "memory",
)
RETRY_COUNT_R2 = Limit(
    "nRetryCount (R2.0)", None, 3, None, "count",
    "same",
    _REF, "memory",
)
MESSAGE_ID_COUNT = Limit(
    "nMessageIDCount", None, 7, None, "count",
    "MessageID runs 0 to 7 then wraps",
    _REF, "memory",
)
CAPS_COUNT = Limit(
    "nCapsCount", None, 50, None, "count",
    "unanswered Source_Capabilities before a source gives up",
    _REF, "memory",
)
HARD_RESET_COUNT = Limit(
    "nHardResetCount", None, 2, None, "count",
    "Hard Resets before error recovery",
    _REF, "Zephyr 4.0 2; Linux 6.1 2",
)

ALL: tuple[Limit, ...] = (
    RETRY_COUNT_R3,
    RETRY_COUNT_R2,
    MESSAGE_ID_COUNT,
    CAPS_COUNT,
    HARD_RESET_COUNT,
)
