"""The layouts of the power and request objects, as the specification's tables give them.

Why it is: the declarations in the messages room are read beside this table, and the notes are printed
from it.
"""

from __future__ import annotations

from dataclasses import dataclass

_REF = "USB PD, section 6.4.1 to 6.4.2 (capabilities and request messages) and its object tables"


@dataclass(frozen=True)
class Layout:
    """One object in words: the flag bits, the number fields, their steps."""

    name: str
    bits: str
    fields: str
    steps: str
    reference: str
    checked: str


ALL: tuple[Layout, ...] = (
    Layout(
        "fixed (source)",
        "31:30 = 00; 29 dual-role power; 28 USB suspend supported; 27 unconstrained power; 26 USB communications capable; 25 dual-role data; 24 unchunked extended messages supported; 23 EPR capable; 21:20 peak current",
        "19:10 voltage; 9:0 max current",
        "50 mV; 10 mA",
        _REF, "Linux 6.1 pd.h (31:25 and 19:0); memory (24:20)",
    ),
    Layout(
        "fixed (sink)",
        "as above but 28 higher capability; 24:23 fast role swap required current",
        "19:10 voltage; 9:0 operational current",
        "50 mV; 10 mA",
        _REF, "Linux 6.1 pd.h; memory",
    ),
    Layout(
        "battery",
        "31:30 = 01",
        "29:20 max voltage; 19:10 min voltage; 9:0 max power",
        "50 mV; 50 mV; 250 mW",
        _REF, "Linux 6.1 pd.h",
    ),
    Layout(
        "variable",
        "31:30 = 10",
        "29:20 max voltage; 19:10 min voltage; 9:0 max current",
        "50 mV; 50 mV; 10 mA",
        _REF, "Linux 6.1 pd.h",
    ),
    Layout(
        "SPR PPS",
        "31:30 = 11; 29:28 = 00; 27 power limited",
        "24:17 max voltage; 15:8 min voltage; 6:0 max current",
        "100 mV; 100 mV; 50 mA",
        _REF, "Linux 6.1 pd.h; memory (27)",
    ),
    Layout(
        "EPR AVS",
        "31:30 = 11; 29:28 = 01; 27:26 peak current",
        "25:17 max voltage; 15:8 min voltage; 7:0 PDP",
        "100 mV; 100 mV; 1 W",
        _REF, "a 2025 kernel patch (APDO type 1 and field names); memory (positions)",
    ),
    Layout(
        "SPR AVS",
        "31:30 = 11; 29:28 = 10; 27:26 peak current",
        "19:10 max current 9 V to 15 V; 9:0 max current 15 V to 20 V",
        "10 mA; 10 mA",
        _REF, "a 2025 kernel patch (APDO type 2 and positions)",
    ),
    Layout(
        "request (fixed or variable)",
        "31:28 position; 27 giveback (deprecated); 26 capability mismatch; 25 USB communications capable; 24 no USB suspend; 23 unchunked; 22 EPR capable",
        "19:10 operating current; 9:0 max current",
        "10 mA",
        _REF, "Linux 6.1 pd.h; memory (23; 22)",
    ),
    Layout(
        "request (battery)",
        "same flags",
        "19:10 operating power; 9:0 max power",
        "250 mW",
        _REF, "Linux 6.1 pd.h",
    ),
    Layout(
        "request (PPS)",
        "same flags without giveback",
        "20:9 output voltage; 6:0 operating current",
        "20 mV; 50 mA",
        _REF, "Linux 6.1 pd.h (shift and steps)",
    ),
    Layout(
        "request (AVS)",
        "same flags without giveback",
        "20:9 output voltage (the two lowest bits zero); 6:0 operating current",
        "25 mV; 50 mA",
        _REF, "memory",
    ),
)
