"""How far an offer may go: voltages, currents and powers of the power rules.

Why it is: an offer beyond these is a fault of the source, whatever the device makes of it. All from memory of USB PD
R3.2, chapter 10 (power rules) and the power data object tables; the largest standard voltages and the 5 A limit agree
with the constants of Linux 6.1 `pd.h` where it has them.
"""

from __future__ import annotations

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
#: Fixed supplies of the EPR part, and the range of its adjustable one, mV.
EPR_FIXED_MV = (28_000, 36_000, 48_000)
EPR_AVS_LOWEST_MV, EPR_HIGHEST_MV = 15_000, 48_000
