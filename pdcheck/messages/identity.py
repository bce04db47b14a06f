"""What a Discover Identity answer holds: who a partner or a cable says it is.

Why it is: a cable that does not say 5 A, or does not say EPR, holds a good charger back. Bit 17 of the
R3.x cable objects and the newest speed codes are from memory of the specification (USB PD R3.2, section
6.4.4.3.1); all other bits compared with Linux 6.1 pd_vdo.h, layout for layout.
"""

from __future__ import annotations

from typing import Any

from pdcheck.messages.layout import Choice, Letters, Number, Reserved, Yes, table, word

PASSIVE, ACTIVE, VPD = 3, 4, 6
"""Product types on SOP'."""
_AMA = 5

UFP_TYPES = {0: "not a UFP", 1: "PDUSB hub", 2: "PDUSB peripheral", 3: "PSD", 5: "alternate mode adapter"}
CABLE_TYPES = {0: "not a cable plug or VPD", PASSIVE: "passive cable", ACTIVE: "active cable", VPD: "VPD"}
DFP_TYPES = {
    0: "not a DFP", 1: "PDUSB hub", 2: "PDUSB host", 3: "power brick", 4: "alternate mode controller",
}

_VERSIONS = (
    "hw_version" / Number(4) * "hardware version, the vendor's own count",
    "fw_version" / Number(4) * "firmware version, the vendor's own count",
)
_VDO_VERSION = "vdo_version" / Number(3) * "version of this layout, from 0"
_MAX_VBUS = "maximum_vbus_voltage" / Choice(2, {0: "20 V", 1: "30 V", 2: "40 V", 3: "50 V"}) * "VBUS it can stand"
_CURRENT = "vbus_current_handling_capability" / Choice(2, {1: "3 A", 2: "5 A"}) * "current it can carry"
_CURRENT_R2 = (
    "vbus_current_handling_capability" / Choice(2, {0: "less than 3 A", 1: "3 A", 2: "5 A"})
    * "current it can carry"
)
_SPEED = "usb_highest_speed" / Choice(3, {
    0: "USB 2.0 only", 1: "USB 3.2 Gen1", 2: "USB 3.2 and USB4 Gen2", 3: "USB4 Gen3", 4: "USB4 Gen4",
}) * "fastest USB signalling"
_SPEED_R2 = "usb_superspeed_signaling_support" / Choice(3, {
    0: "USB 2.0 only", 1: "USB 3.1 Gen1", 2: "USB 3.1 Gen1 and Gen2",
}) * "fastest USB signalling"
_LATENCIES = {
    1: "below 10 ns (about 1 m)", 2: "10 to 20 ns (about 2 m)", 3: "20 to 30 ns (about 3 m)",
    4: "30 to 40 ns (about 4 m)", 5: "40 to 50 ns (about 5 m)", 6: "50 to 60 ns (about 6 m)",
    7: "60 to 70 ns (about 7 m)",
}
_LATENCY = "cable_latency" / Choice(4, _LATENCIES | {8: "above 70 ns (over 7 m)"}) * "length class"
_LATENCY_ACTIVE = (
    "cable_latency" / Choice(4, _LATENCIES | {
        8: "1000 ns (about 100 m)", 9: "2000 ns (about 200 m)", 10: "3000 ns (about 300 m)",
    }) * "length class"
)
_LATENCY_R2 = _LATENCY
_TERMINATION = {
    0: "VCONN not required", 1: "VCONN required", 2: "one end active, VCONN required",
    3: "both ends active, VCONN required",
}
_CABLE_TERMINATION = "cable_termination_type" / Choice(2, _TERMINATION) * "how its ends are powered"
_PLUG = "plug_type" / Choice(2, {2: "USB Type-C", 3: "captive"}) * "what is at the other end"
_EPR = "epr_capable" / Yes() * "made for the extended power range"
_SOP2 = "sop_double_prime_controller_present" / Yes() * "a second controller answers on SOP''"
_THROUGH = "vbus_through_cable" / Yes() * "VBUS runs from end to end"
_DIRECTIONS = tuple(
    f"{pair}_directionality_configurable" / Yes() * "direction can be configured (clear: fixed)"
    for pair in ("sstx1", "sstx2", "ssrx1", "ssrx2")
)
_VCONN_POWER = "vconn_power" / Choice(3, {
    0: "1 W", 1: "1.5 W", 2: "2 W", 3: "3 W", 4: "4 W", 5: "5 W", 6: "6 W",
}) * "VCONN power needed, where VCONN is required"
_CONNECTOR = "connector_type" / Choice(2, {0: "not said", 2: "USB Type-C receptacle", 3: "captive or plug"}) * (
    "what joins it to the other side"
)


def _id_header(name: str, types: dict[int, str], modern: bool, title: str) -> Any:
    later: tuple[Any, ...] = (Reserved(10),)
    if modern:
        later = (
            "product_type_dfp" / Choice(3, DFP_TYPES) * "what it is as a host",
            _CONNECTOR,
            Reserved(5),
        )
    return word(
        name, "id_header",
        "usb_host_capable" / Yes() * "can be a USB host",
        "usb_device_capable" / Yes() * "can be a USB device",
        ("product_type_cable" if types is CABLE_TYPES else "product_type_ufp") / Choice(3, types) * "what it is",
        "modal_operation_supported" / Yes() * "has alternate modes",
        *later,
        "usb_vendor_id" / Number(16) * "who made it",
        title=title,
    )


LAYOUTS = table(
    _id_header("identity.id_header", UFP_TYPES, True, "ID Header VDO (SOP)"),
    _id_header("identity.id_header_r2", UFP_TYPES, False, "ID Header VDO (SOP, R2.0)"),
    _id_header("identity.cable_id_header", CABLE_TYPES, True, "ID Header VDO (SOP')"),
    _id_header("identity.cable_id_header_r2", CABLE_TYPES, False, "ID Header VDO (SOP', R2.0)"),
    word("identity.cert_stat", "cert_stat", "xid" / Number(32) * "certification number, 0: none",
         title="Cert Stat VDO"),
    word(
        "identity.product", "product",
        "usb_product_id" / Number(16) * "which product of that maker",
        "bcd_device" / Number(16) * "its release, in binary coded decimal",
        title="Product VDO",
    ),
    word(
        "identity.passive_cable", "passive_cable",
        *_VERSIONS, _VDO_VERSION, Reserved(1), _PLUG, _EPR, _LATENCY, _CABLE_TERMINATION, _MAX_VBUS,
        Reserved(2), _CURRENT, Reserved(2), _SPEED,
        title="Passive Cable VDO",
    ),
    word(
        "identity.active_cable_1", "active_cable_1",
        *_VERSIONS, _VDO_VERSION, Reserved(1), _PLUG, _EPR, _LATENCY_ACTIVE, _CABLE_TERMINATION, _MAX_VBUS,
        "sbu_supported" / Yes(inverted=True) * "has the side band wires",
        "sbu_type" / Choice(1, {0: "passive", 1: "active"}) * "kind of the side band wires",
        _CURRENT, _THROUGH, _SOP2, _SPEED,
        title="Active Cable VDO 1",
    ),
    word(
        "identity.active_cable_2", "active_cable_2",
        "maximum_operating_temperature_c" / Number(8, 1, "°C") * "highest temperature it works at",
        "shutdown_temperature_c" / Number(8, 1, "°C") * "temperature it turns itself off at",
        Reserved(1),
        "u3_cld_power" / Choice(3, {
            0: "above 10 mW", 1: "5 to 10 mW", 2: "1 to 5 mW", 3: "0.5 to 1 mW", 4: "0.2 to 0.5 mW",
            5: "0.05 to 0.2 mW", 6: "below 0.05 mW",
        }) * "power in the sleep state",
        "u3_to_u0_transition_mode" / Choice(1, {0: "direct", 1: "through U3S"}) * "how it wakes",
        "physical_connection" / Choice(1, {0: "copper", 1: "optical"}) * "what carries the signals",
        "active_element" / Choice(1, {0: "re-driver", 1: "re-timer"}) * "what makes it active",
        "usb4_supported" / Yes(inverted=True) * "carries USB4",
        "usb_2_0_hub_hops_consumed" / Number(2) * "hub levels it uses up",
        "usb_2_0_supported" / Yes(inverted=True) * "carries USB 2.0",
        "usb_3_2_supported" / Yes(inverted=True) * "carries USB 3.2",
        "usb_lanes_supported" / Choice(1, {0: "one lane", 1: "two lanes"}) * "lanes",
        "optically_isolated_active_cable" / Yes() * "no copper from end to end",
        "usb4_asymmetric_mode_supported" / Yes() * "three lanes one way (reserved before R3.1 version 1.8)",
        "usb_gen" / Choice(1, {0: "Gen 1", 1: "Gen 2 or higher"}) * "signalling generation",
        title="Active Cable VDO 2",
    ),
    word(
        "identity.cable_r2", "cable_r2",
        *_VERSIONS,
        Reserved(4),
        "plug_type" / Choice(2, {0: "USB Type-A", 1: "USB Type-B", 2: "USB Type-C", 3: "captive"})
        * "what is at the other end",
        "receptacle" / Yes() * "a receptacle at the other end (clear: a plug)",
        _LATENCY_R2, _CABLE_TERMINATION, *_DIRECTIONS, _CURRENT_R2, _THROUGH, _SOP2, _SPEED_R2,
        title="Cable VDO (R2.0, passive and active)",
    ),
    word(
        "identity.ama_r2", "ama",
        *_VERSIONS, Reserved(12), *_DIRECTIONS, _VCONN_POWER,
        "vconn_required" / Yes() * "needs VCONN",
        "vbus_required" / Yes() * "needs VBUS",
        "usb_superspeed_signaling_support" / Choice(3, {
            0: "USB 2.0 only", 1: "USB 3.1 Gen1 and USB 2.0", 2: "USB 3.1 Gen1, Gen2 and USB 2.0",
            3: "USB 2.0 billboard only",
        }) * "fastest USB signalling",
        title="Alternate Mode Adapter VDO (R2.0)",
    ),
    word(
        "identity.ama", "ama",
        *_VERSIONS, _VDO_VERSION, Reserved(13), _VCONN_POWER,
        "vconn_required" / Yes() * "needs VCONN",
        "vbus_required" / Yes() * "needs VBUS",
        "usb_highest_speed" / Choice(3, {
            0: "USB 2.0 only", 1: "USB 3.2 Gen1 and USB 2.0", 2: "USB 3.2 Gen1, Gen2 and USB 2.0",
            3: "USB 2.0 billboard only",
        }) * "fastest USB signalling",
        title="Alternate Mode Adapter VDO",
    ),
    word(
        "identity.vpd", "vpd",
        *_VERSIONS, _VDO_VERSION, Reserved(4), _MAX_VBUS,
        "charge_through_current_support" / Choice(1, {0: "3 A", 1: "5 A"}) * "current it passes on",
        Reserved(1),
        "vbus_impedance_mohm" / Number(6, 2, "mohm") * "resistance of its VBUS path",
        "ground_impedance_mohm" / Number(6, 1, "mohm") * "resistance of its ground path",
        "charge_through_support" / Yes() * "can charge the device through it",
        title="VCONN-Powered USB Device VDO",
    ),
    word(
        "identity.ufp", "ufp",
        _VDO_VERSION,
        Reserved(1),
        "device_capability" / Letters(("USB 2.0", "USB 2.0 billboard only", "USB 3.2", "USB4"))
        * "what it can be as a device",
        _CONNECTOR,
        Reserved(11),
        _VCONN_POWER,
        "vconn_required" / Yes() * "needs VCONN",
        "vbus_required" / Yes(inverted=True) * "needs VBUS",
        "alternate_modes" / Letters(("TBT3", "reconfigures the signals", "does not reconfigure the signals"))
        * "alternate modes it has",
        _SPEED,
        title="UFP VDO",
    ),
    word(
        "identity.dfp", "dfp",
        _VDO_VERSION,
        Reserved(2),
        "host_capability" / Letters(("USB 2.0", "USB 3.2", "USB4")) * "what it can be as a host",
        _CONNECTOR,
        Reserved(17),
        "port_number" / Number(5) * "which port of the host",
        title="DFP VDO",
    ),
    word("identity.pad", "pad", Reserved(32), title="Pad between the UFP and DFP VDOs"),
)


def layouts(words: tuple[int, ...], version: str, on_cable: bool) -> tuple[str, ...]:
    """The layout of each object after the header of a Discover Identity answer.

    :param words: those objects. :param version: of the structured header. :param on_cable: sent on SOP'.
    """
    old = version.startswith("1.")
    first = f"identity.{'cable_' if on_cable else ''}id_header{'_r2' if old else ''}"
    named = (first, "identity.cert_stat", "identity.product")
    product = _products(words[0], old, on_cable) if words else ()
    every = (named + product)[: len(words)]
    return every + ("",) * (len(words) - len(every))


def _products(id_header: int, old: bool, on_cable: bool) -> tuple[str, ...]:
    """The layouts of the product type VDOs, by the product types in the ID header."""
    kind = id_header >> 27 & 7
    if on_cable:
        if kind in (PASSIVE, ACTIVE) and old:
            return ("identity.cable_r2",)
        if kind == PASSIVE:
            return ("identity.passive_cable",)
        if kind == ACTIVE:
            return ("identity.active_cable_1", "identity.active_cable_2")
        return ("identity.vpd",) if kind == VPD else ()
    if kind == _AMA:
        return ("identity.ama_r2" if old else "identity.ama",)
    if old:
        return ()
    ufp = kind in (1, 2, 3)
    dfp = (id_header >> 23 & 7) in (1, 2, 3, 4)
    if ufp and dfp:
        return ("identity.ufp", "identity.pad", "identity.dfp")
    if ufp:
        return ("identity.ufp",)
    return ("identity.dfp",) if dfp else ()
