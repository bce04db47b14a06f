"""What VBUS may read, when.

Why it is: whether a contract was delivered is judged against these and nothing else.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_REF = "USB PD, section 7.4 (electrical parameters); USB Type-C, section 4.4 (VBUS)"

SAFE_0V = Limit(
    "vSafe0V", 0, None, 0.8, "V",
    "VBUS counts as off",
    _REF, "Zephyr 4.0 PD_V_SAFE_0V_MAX_MV 800",
)
SAFE_5V = Limit(
    "vSafe5V", 4.75, None, 5.5, "V",
    "VBUS before and without a contract",
    _REF, "Zephyr 4.0 PD_V_SAFE_5V_MIN_MV 4750",
)
SINK_DISCONNECT = Limit(
    "vSinkDisconnect", 0.8, None, 3.67, "V",
    "a sink calls itself detached",
    _REF, "Zephyr 4.0 usbc_tc.h 800 and 3670",
)
SRC_NEW = Limit(
    "vSrcNew", -5, None, 5, "%",
    "a fixed supply under contract stays within this of the contract voltage",
    _REF, "memory",
)
SRC_VALID = Limit(
    "vSrcValid", -0.5, None, 0.5, "V",
    "extra allowance outside vSrcNew during a transition",
    _REF, "memory",
)
PPS_NEW = Limit(
    "vPpsNew", -5, None, 5, "%",
    "a programmable supply stays within this of the requested voltage",
    _REF, "memory",
)
PPS_SHUTDOWN = Limit(
    "vPpsShutdown", 85, None, None, "%",
    "a programmable supply that limits its current may let VBUS fall to this of its least voltage before it shuts off",
    _REF, "memory",
)
SINK_STANDBY = Limit(
    "pSnkStdby", None, None, 2.5, "W",
    "a sink draws no more than this while VBUS goes to another level",
    "USB PD, section 7.2.3 (sink standby) and 7.4 (electrical parameters)", "memory",
)
_REF_CABLE = "USB Type-C, section 4.4.1 (IR drop of VBUS and ground)"

CABLE_VBUS_DROP = Limit(
    "VBUS IR drop", None, None, 0.5, "V",
    "what a cable may lose on VBUS at its full current",
    _REF_CABLE, "memory",
)
CABLE_GROUND_DROP = Limit(
    "GND IR drop", None, None, 0.25, "V",
    "what a cable may lose on ground at its full current",
    _REF_CABLE, "memory",
)
UNMARKED_CABLE = Limit(
    "cable without a chip", None, None, 3000, "mA",
    "its full current",
    "USB Type-C, section 4.9 (electronically marked cables)", "memory",
)
#: What a cable may lose in all, on the way there and back, V.
CABLE_DROP_V = CABLE_VBUS_DROP.most + CABLE_GROUND_DROP.most

ALL: tuple[Limit, ...] = (
    SAFE_0V,
    SAFE_5V,
    SINK_DISCONNECT,
    SRC_NEW,
    SRC_VALID,
    PPS_NEW,
    PPS_SHUTDOWN,
    SINK_STANDBY,
    CABLE_VBUS_DROP,
    CABLE_GROUND_DROP,
    UNMARKED_CABLE,
)
