"""How far an offer may go: voltages, currents and powers of the power rules.

Why it is: an offer beyond these is a fault of the source, whatever the device makes of it. All from memory of USB PD
R3.2, chapter 10 (power rules) and the power data object tables; the largest standard voltages and the 5 A limit agree
with the constants of Linux 6.1 `pd.h` where it has them.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_REF = "USB PD, section 6.4.1 (power data objects) and 10.2 (power rules)"

#: The first object of every offer, mV.
FIRST_OBJECT_MV = 5000
#: Highest fixed voltage in the SPR part, and the highest that a range may reach (5 % above), mV; highest current
#: anywhere, mA.
SPR_FIXED_HIGHEST_MV, SPR_RANGE_HIGHEST_MV = 20_000, 21_000
MOST_CURRENT_MA = 5000
#: Most power of an SPR object and of an EPR one, mW.
SPR_MOST_MW, EPR_MOST_MW = 100_000, 240_000
#: Programmable supplies: lowest minimum (3.3 V now, 3 V in early R3.0) and highest maximum, mV.
PPS_LOWEST_MV, PPS_HIGHEST_MV = 3000, 21_000
#: The adjustable supply of the SPR part names one current up to this voltage and another above it, mV.
SPR_AVS_STEP_MV = 15_000
#: Fixed supplies of the EPR part, and the range of its adjustable one, mV.
EPR_FIXED_MV = (28_000, 36_000, 48_000)
EPR_AVS_LOWEST_MV, EPR_HIGHEST_MV = 15_000, 48_000

#: The same as the notes print them.
ALL: tuple[Limit, ...] = (
    Limit("first object", None, FIRST_OBJECT_MV, None, "mV", "every offer begins with a fixed supply of this voltage",
          _REF, "memory"),
    Limit("fixed supply, SPR", None, None, SPR_FIXED_HIGHEST_MV, "mV", "its voltage", _REF, "memory"),
    Limit("battery or variable supply, SPR", None, None, SPR_RANGE_HIGHEST_MV, "mV", "the upper end of its range", _REF,
          "memory"),
    Limit("current", None, None, MOST_CURRENT_MA, "mA", "of any object", _REF, "memory"),
    Limit("power, SPR", None, None, SPR_MOST_MW, "mW", "of any object", _REF, "memory"),
    Limit("power, EPR", None, None, EPR_MOST_MW, "mW", "of any object", _REF, "memory"),
    Limit("programmable supply, SPR", PPS_LOWEST_MV, None, PPS_HIGHEST_MV, "mV",
          "its range; the least is 3.3 V now and was 3 V in early R3.0", _REF, "memory"),
    Limit("adjustable supply, SPR", None, SPR_AVS_STEP_MV, None, "mV",
          "it names one current up to this voltage and another above it", _REF, "memory"),
    *(Limit("fixed supply, EPR", None, level, None, "mV", "its voltage", _REF, "memory") for level in EPR_FIXED_MV),
    Limit("adjustable supply, EPR", EPR_AVS_LOWEST_MV, None, EPR_HIGHEST_MV, "mV", "its range", _REF, "memory"),
)  # fmt: skip
