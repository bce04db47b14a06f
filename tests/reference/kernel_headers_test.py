"""Our declarations against the Linux kernel's macros: field by field, thousands of words.

Each expression of `kernel_draw.py` has its counterpart here. The committed table keeps the comparison alive
where no kernel headers or no gcc are installed; where they are, random words are put to the compiled macros.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from pdcheck.messages import build_extended_header, build_header, build_object, parse, parse_power_object
from pdcheck.messages.layout import Field, Span
from pdcheck.messages.registry import find_layout
from pdcheck.messages.vendor import COMMANDS, DISPLAYPORT_COMMANDS, SVID_DISPLAYPORT, SVID_PD, parse_vdm_header
from tests.reference.kernel_draw import EXPRESSIONS, Question, ask, facts, installed, questions

Ours = Callable[[tuple[int, ...]], int]
RANDOM_EACH = 60


def span_of(layout: str, field: str) -> Span:
    return next(span for span in find_layout(layout).spans() if span.name == field)


def value(layout: str, field: str) -> Ours:
    """The field's value in the word, a boolean as 0 or 1."""
    return lambda a: int(find_layout(layout).parse_word(a[0])[field])  # type: ignore[arg-type]


def raw(layout: str, field: str) -> Ours:
    """The field's raw bits, got back from its value."""
    return lambda a: span_of(layout, field).field.raw_of(find_layout(layout).parse_word(a[0])[field])


def eight_pins(layout: str, field: str) -> Ours:
    """The kernel's eight pin assignment bits: ours are six and two reserved."""

    def find(a: tuple[int, ...]) -> int:
        span = span_of(layout, field)
        one = find_layout(layout).parse_word(a[0])
        reserved = one.get("reserved_bits_set", [])
        assert isinstance(reserved, list)
        above = sum(1 << int(str(bit)) - span.low for bit in reserved if 0 < int(str(bit)) - span.high <= 2)
        return span.field.raw_of(one[field]) | above

    return find


def packed(layout: str, *fields: str) -> Ours:
    """The word that our declaration builds from the raw arguments, after checking that it parses back."""

    def build(a: tuple[int, ...]) -> int:
        wanted = {name: span_of(layout, name).field.value_of(one) for name, one in zip(fields, a, strict=True)}
        word = int.from_bytes(find_layout(layout).build(wanted), "little")
        found = find_layout(layout).parse_word(word).fields
        assert {name: found[name] for name in fields} == wanted
        return word

    return build


def vdm(a: tuple[int, ...]) -> int:
    svid, structured, version, custom = a
    if structured:
        return build_object(
            "vdm_header", svid=svid, version=f"{version + 1}.0", object_position=custom >> 8,
            command_type=("REQ", "ACK", "NAK", "BUSY")[custom >> 6 & 3], command=custom & 31,
            reserved_bits_set=[5] if custom & 32 else [],
        )
    return build_object("vdm_header", structured=False, svid=svid, vendor_use=version << 13 | custom)


def sop_header(a: tuple[int, ...]) -> int:
    kind, power, data, revision, number, count, extended = a
    return int.from_bytes(build_header(
        message_type=kind, power_role=power, data_role=data, revision=revision, message_id=number,
        object_count=count, extended=bool(extended),
    ), "little")


def extended_header(a: tuple[int, ...]) -> int:
    size, request, number, chunked = a
    return int.from_bytes(build_extended_header(
        data_size=size, request_chunk=bool(request), chunk_number=number, chunked=bool(chunked)
    ), "little")


FIXED, SINK, PPS, RDO = "power.fixed_source", "power.fixed_sink", "power.spr_pps_source", "request.fixed"
VDM, IDH, PASSIVE, ACTIVE = (
    "vendor.structured_header", "identity.id_header", "identity.passive_cable", "identity.active_cable_1",
)
CAPABILITIES, STATUS, CONFIGURATION = "displayport.capabilities", "displayport.status", "displayport.configuration"
ACTIVE_2, UFP, DFP, EUDO = "identity.active_cable_2", "identity.ufp", "identity.dfp", "modes.enter_usb"
OLD_CABLE, OLD_AMA, VPD, ALERT = "identity.cable_r2", "identity.ama_r2", "identity.vpd", "notices.alert"
CABLE_IDH, SDB = "identity.cable_id_header", "blocks.status"

UNPACKED: dict[str, Ours] = {
    "pd_header_cnt": value("header.header", "object_count"),
    "pd_header_type": value("header.header", "message_type"),
    "pd_header_msgid": value("header.header", "message_id"),
    "pd_header_rev": value("header.header", "revision"),
    "pd_ext_header_chunk_num": value("header.extended_header", "chunk_number"),
    "pd_ext_header_data_size": value("header.extended_header", "data_size"),
    "pdo_type": lambda a: {
        "fixed": 0, "battery": 1, "variable": 2, "spr_pps": 3, "epr_avs": 3, "spr_avs": 3, "augmented_reserved": 3,
    }[parse_power_object(a[0], side="source").kind],
    "pdo_apdo_type": lambda a: {"spr_pps": 0, "epr_avs": 1, "spr_avs": 2, "augmented_reserved": 3}[
        parse_power_object(a[0] | 3 << 30, side="sink").kind
    ],
    "pdo_fixed_voltage": value(FIXED, "voltage_mv"),
    "pdo_min_voltage": value("power.variable", "min_voltage_mv"),
    "pdo_max_voltage": value("power.battery", "max_voltage_mv"),
    "pdo_max_current": value(FIXED, "current_ma"),
    "pdo_max_power": value("power.battery", "power_mw"),
    "pdo_pps_apdo_min_voltage": value(PPS, "min_voltage_mv"),
    "pdo_pps_apdo_max_voltage": value(PPS, "max_voltage_mv"),
    "pdo_pps_apdo_max_current": value(PPS, "current_ma"),
    # the kernel's position has three bits, that of R3.1 four
    "rdo_index": lambda a: value(RDO, "position")(a) & 7,
    "rdo_op_current": value(RDO, "operating_current_ma"),
    "rdo_max_current": value(RDO, "max_current_ma"),
    "rdo_op_power": value("request.battery", "operating_power_mw"),
    "rdo_max_power": value("request.battery", "max_power_mw"),
    "usb_pd_ado_type": lambda a: a[0] >> 24 if _alert_bits(a[0]) == a[0] >> 24 else -1,
    "usb_pd_ado_fixed_batt": value(ALERT, "fixed_batteries"),
    "usb_pd_ado_hot_swap_batt": value(ALERT, "hot_swappable_batteries"),
    "PD_VDO_VID": value(VDM, "svid"),
    "PD_VDO_SVDM": lambda a: int(parse_vdm_header(a[0])["structured"] is True),
    "PD_VDO_SVDM_VER": lambda a: raw(VDM, "version")(a) >> 2,
    "PD_VDO_OPOS": value(VDM, "object_position"),
    "PD_VDO_CMD": value(VDM, "command"),
    "PD_VDO_CMDT": raw(VDM, "command_type"),
    "PD_IDH_PTYPE": raw(IDH, "product_type_ufp"),
    "PD_IDH_VID": value(IDH, "usb_vendor_id"),
    "PD_IDH_DFP_PTYPE": raw(IDH, "product_type_dfp"),
    "PD_IDH_CONN_TYPE": raw(IDH, "connector_type"),
    "PD_CSTAT_XID": value("identity.cert_stat", "xid"),
    "PD_PRODUCT_PID": value("identity.product", "usb_product_id"),
    "PD_VDO_UFP_DEVCAP": raw(UFP, "device_capability"),
    "PD_VDO_DFP_HOSTCAP": raw(DFP, "host_capability"),
    "VDO_TYPEC_CABLE_TYPE": raw(PASSIVE, "plug_type"),
    "VDO_TYPEC_CABLE_SPEED": raw(ACTIVE, "usb_highest_speed"),
    "PD_VDO_AMA_VCONN_REQ": value(OLD_AMA, "vconn_required"),
    "PD_VDO_AMA_VBUS_REQ": value(OLD_AMA, "vbus_required"),
    "PD_VDO_SVID_SVID0": value("vendor.svids", "svid_0"),
    "PD_VDO_SVID_SVID1": value("vendor.svids", "svid_1"),
    "DP_CAP_CAPABILITY": raw(CAPABILITIES, "port_capability"),
    "DP_CAP_DP_SIGNALLING": value(CAPABILITIES, "signaling"),
    "DP_CAP_DFP_D_PIN_ASSIGN": eight_pins(CAPABILITIES, "dfp_d_pin_assignments"),
    "DP_CAP_UFP_D_PIN_ASSIGN": eight_pins(CAPABILITIES, "ufp_d_pin_assignments"),
    "DP_CAP_CABLE_TYPE": raw(CAPABILITIES, "cable_active_component"),
    "DP_CAP_RECEPTACLE": value(CAPABILITIES, "receptacle"),
    "DP_CAP_USB": value(CAPABILITIES, "usb_2_0_not_used"),
    "DP_CAP_UHBR_13_5_SUPPORT": value(CAPABILITIES, "uhbr13_5_supported"),
    "DP_CAP_DPAM_VERSION": value(CAPABILITIES, "dpam_version_2_1"),
    "DP_STATUS_CONNECTION": raw(STATUS, "connection"),
    "DP_STATUS_POWER_LOW": value(STATUS, "power_low"),
    "DP_STATUS_ENABLED": value(STATUS, "enabled"),
    "DP_STATUS_PREFER_MULTI_FUNC": value(STATUS, "multi_function_preferred"),
    "DP_STATUS_SWITCH_TO_USB": value(STATUS, "switch_to_usb"),
    "DP_STATUS_EXIT_DP_MODE": value(STATUS, "exit_displayport_mode"),
    "DP_STATUS_HPD_STATE": value(STATUS, "hpd_state"),
    "DP_STATUS_IRQ_HPD": value(STATUS, "irq_hpd"),
    "DP_CONF_CURRENTLY": raw(CONFIGURATION, "configure_as"),
    "DP_CONF_GET_PIN_ASSIGN": eight_pins(CONFIGURATION, "pin_assignment"),
    "DP_CONF_SIGNALLING": value(CONFIGURATION, "signaling"),
    "DP_CONF_CABLE_TYPE": raw(CONFIGURATION, "cable_active_component"),
    "PDO_FIXED_DUAL_ROLE": value(FIXED, "dual_role_power"),
    "PDO_FIXED_SUSPEND": value(FIXED, "usb_suspend_supported"),
    "PDO_FIXED_HIGHER_CAP": value(SINK, "higher_capability"),
    "PDO_FIXED_EXTPOWER": value(SINK, "unconstrained_power"),
    "PDO_FIXED_USB_COMM": value(FIXED, "usb_communications_capable"),
    "PDO_FIXED_DATA_SWAP": value(FIXED, "dual_role_data"),
    "PDO_FIXED_UNCHUNK_EXT": value(FIXED, "unchunked_extended_messages_supported"),
    "PDO_FIXED_FRS_CURR": value(SINK, "fast_role_swap_required_current"),
    "PDO_FIXED_PEAK_CURR": value(FIXED, "peak_current"),
    "RDO_GIVE_BACK": value(RDO, "giveback"),
    "RDO_CAP_MISMATCH": value("request.pps", "capability_mismatch"),
    "RDO_USB_COMM": value("request.avs", "usb_communications_capable"),
    "RDO_NO_SUSPEND": value("request.battery", "no_usb_suspend"),
    "EUDO_USB4_DRD": value(EUDO, "usb4_drd"),
    "EUDO_USB3_DRD": value(EUDO, "usb3_drd"),
    "EUDO_PCIE_SUPPORT": value(EUDO, "pcie_support"),
    "EUDO_DP_SUPPORT": value(EUDO, "dp_support"),
    "EUDO_TBT_SUPPORT": value(EUDO, "tbt_support"),
    "EUDO_HOST_PRESENT": value(EUDO, "host_present"),
    "EUDO_USB_MODE": raw(EUDO, "usb_mode"),
    "EUDO_CABLE_SPEED": raw(EUDO, "cable_speed"),
    "EUDO_CABLE_TYPE": raw(EUDO, "cable_type"),
    "EUDO_CABLE_CURRENT": raw(EUDO, "cable_current"),
    "BDO_MODE": raw("bist.mode", "mode"),
}

PACKED: dict[str, Ours] = {
    "PD_HEADER": sop_header,
    "PD_EXT_HDR": extended_header,
    "PDO_FIXED": lambda a: build_object("fixed", side="source", voltage_mv=a[0] * 50, current_ma=a[1] * 10),
    "PDO_BATT": lambda a: build_object(
        "battery", min_voltage_mv=a[0] * 50, max_voltage_mv=a[1] * 50, power_mw=a[2] * 250
    ),
    "PDO_VAR": lambda a: build_object(
        "variable", min_voltage_mv=a[0] * 50, max_voltage_mv=a[1] * 50, current_ma=a[2] * 10
    ),
    "PDO_PPS_APDO": lambda a: build_object(
        "spr_pps", side="sink", min_voltage_mv=a[0] * 100, max_voltage_mv=a[1] * 100, current_ma=a[2] * 50
    ),
    "RDO_FIXED": lambda a: build_object(
        "request", position=a[0], operating_current_ma=a[1] * 10, max_current_ma=a[2] * 10
    ),
    "RDO_BATT": lambda a: build_object(
        "request", position=a[0], operating_power_mw=a[1] * 250, max_power_mw=a[2] * 250
    ),
    "RDO_PROG": lambda a: build_object(
        "request", offered="spr_pps", position=a[0], voltage_mv=a[1] * 20, operating_current_ma=a[2] * 50
    ),
    "VDO": vdm,
    "VDO_IDH": packed(
        IDH, "usb_host_capable", "usb_device_capable", "product_type_ufp", "modal_operation_supported",
        "product_type_dfp", "connector_type", "usb_vendor_id",
    ),
    "VDO_CERT": packed("identity.cert_stat", "xid"),
    "VDO_PRODUCT": packed("identity.product", "usb_product_id", "bcd_device"),
    "VDO_UFP": packed(
        UFP, "vdo_version", "device_capability", "connector_type", "vconn_power", "vconn_required",
        "vbus_required", "alternate_modes", "usb_highest_speed",
    ),
    "VDO_DFP": packed(DFP, "vdo_version", "host_capability", "connector_type", "port_number"),
    "VDO_CABLE": packed(
        OLD_CABLE, "hw_version", "fw_version", "plug_type", "cable_latency", "cable_termination_type",
        "sstx1_directionality_configurable", "sstx2_directionality_configurable",
        "ssrx1_directionality_configurable", "ssrx2_directionality_configurable",
        "vbus_current_handling_capability", "vbus_through_cable", "sop_double_prime_controller_present",
        "usb_superspeed_signaling_support",
    ),
    "VDO_PCABLE": packed(
        PASSIVE, "hw_version", "fw_version", "vdo_version", "plug_type", "cable_latency",
        "cable_termination_type", "maximum_vbus_voltage", "vbus_current_handling_capability",
        "usb_highest_speed",
    ),
    "VDO_ACABLE1": packed(
        ACTIVE, "hw_version", "fw_version", "vdo_version", "plug_type", "cable_latency",
        "cable_termination_type", "maximum_vbus_voltage", "sbu_supported", "sbu_type",
        "vbus_current_handling_capability", "vbus_through_cable", "sop_double_prime_controller_present",
        "usb_highest_speed",
    ),
    "VDO_ACABLE2": packed(
        ACTIVE_2, "maximum_operating_temperature_c", "shutdown_temperature_c", "u3_cld_power",
        "u3_to_u0_transition_mode", "physical_connection", "active_element", "usb4_supported",
        "usb_2_0_hub_hops_consumed", "usb_2_0_supported", "usb_3_2_supported", "usb_lanes_supported",
        "optically_isolated_active_cable", "usb_gen",
    ),
    "VDO_AMA": packed(
        OLD_AMA, "hw_version", "fw_version", "sstx1_directionality_configurable",
        "sstx2_directionality_configurable", "ssrx1_directionality_configurable",
        "ssrx2_directionality_configurable", "vconn_power", "vconn_required", "vbus_required",
        "usb_superspeed_signaling_support",
    ),
    "VDO_VPD": lambda a: packed(
        VPD, "hw_version", "fw_version", "vdo_version", "maximum_vbus_voltage",
        "charge_through_current_support", "vbus_impedance_mohm", "ground_impedance_mohm",
        "charge_through_support",
    )(a),
    "VDO_SVID": packed("vendor.svids", "svid_0", "svid_1"),
    "usb-connector.yaml fixed": lambda a: build_object(
        "fixed", voltage_mv=5000, current_ma=2000, usb_communications_capable=True
    ),
    "usb-connector.yaml variable": lambda a: build_object(
        "variable", min_voltage_mv=5000, max_voltage_mv=12000, current_ma=2000
    ),
}


def _alert_bits(word: int) -> int:
    """The eight type bits, from our fields; bit 0 is reserved."""
    one = find_layout(ALERT).parse_word(word)
    names = (
        "battery_status_change_event", "ocp_event", "otp_event", "operating_condition_change",
        "source_input_change_event", "ovp_event", "extended_alert_event",
    )
    reserved = one.get("reserved_bits_set", [])
    assert isinstance(reserved, list)
    return sum(int(one[name] is True) << bit for bit, name in enumerate(names, 1)) | int(24 in reserved)


MESSAGES: Mapping[str, str] = {
    "PD_CTRL_GOOD_CRC": "GoodCRC", "PD_CTRL_GOTO_MIN": "GotoMin", "PD_CTRL_ACCEPT": "Accept",
    "PD_CTRL_REJECT": "Reject", "PD_CTRL_PING": "Ping", "PD_CTRL_PS_RDY": "PS_RDY",
    "PD_CTRL_GET_SOURCE_CAP": "Get_Source_Cap", "PD_CTRL_GET_SINK_CAP": "Get_Sink_Cap",
    "PD_CTRL_DR_SWAP": "DR_Swap", "PD_CTRL_PR_SWAP": "PR_Swap", "PD_CTRL_VCONN_SWAP": "VCONN_Swap",
    "PD_CTRL_WAIT": "Wait", "PD_CTRL_SOFT_RESET": "Soft_Reset", "PD_CTRL_NOT_SUPP": "Not_Supported",
    "PD_CTRL_GET_SOURCE_CAP_EXT": "Get_Source_Cap_Extended", "PD_CTRL_GET_STATUS": "Get_Status",
    "PD_CTRL_FR_SWAP": "FR_Swap", "PD_CTRL_GET_PPS_STATUS": "Get_PPS_Status",
    "PD_CTRL_GET_COUNTRY_CODES": "Get_Country_Codes",
    "PD_DATA_SOURCE_CAP": "Source_Capabilities", "PD_DATA_REQUEST": "Request", "PD_DATA_BIST": "BIST",
    "PD_DATA_SINK_CAP": "Sink_Capabilities", "PD_DATA_BATT_STATUS": "Battery_Status", "PD_DATA_ALERT": "Alert",
    "PD_DATA_GET_COUNTRY_INFO": "Get_Country_Info", "PD_DATA_ENTER_USB": "Enter_USB",
    "PD_DATA_VENDOR_DEF": "Vendor_Defined",
    "PD_EXT_SOURCE_CAP_EXT": "Source_Capabilities_Extended", "PD_EXT_STATUS": "Status",
    "PD_EXT_GET_BATT_CAP": "Get_Battery_Cap", "PD_EXT_GET_BATT_STATUS": "Get_Battery_Status",
    "PD_EXT_BATT_CAP": "Battery_Capabilities", "PD_EXT_GET_MANUFACTURER_INFO": "Get_Manufacturer_Info",
    "PD_EXT_MANUFACTURER_INFO": "Manufacturer_Info", "PD_EXT_SECURITY_REQUEST": "Security_Request",
    "PD_EXT_SECURITY_RESPONSE": "Security_Response", "PD_EXT_FW_UPDATE_REQUEST": "Firmware_Update_Request",
    "PD_EXT_FW_UPDATE_RESPONSE": "Firmware_Update_Response", "PD_EXT_PPS_STATUS": "PPS_Status",
    "PD_EXT_COUNTRY_INFO": "Country_Info", "PD_EXT_COUNTRY_CODES": "Country_Codes",
}

CODES: Mapping[str, tuple[str, str, object]] = {
    "CMDT_INIT": (VDM, "command_type", "REQ"), "CMDT_RSP_ACK": (VDM, "command_type", "ACK"),
    "CMDT_RSP_NAK": (VDM, "command_type", "NAK"), "CMDT_RSP_BUSY": (VDM, "command_type", "BUSY"),
    "IDH_PTYPE_NOT_UFP": (IDH, "product_type_ufp", "not a UFP"),
    "IDH_PTYPE_HUB": (IDH, "product_type_ufp", "PDUSB hub"),
    "IDH_PTYPE_PERIPH": (IDH, "product_type_ufp", "PDUSB peripheral"),
    "IDH_PTYPE_PSD": (IDH, "product_type_ufp", "PSD"),
    "IDH_PTYPE_AMA": (IDH, "product_type_ufp", "alternate mode adapter"),
    "IDH_PTYPE_NOT_CABLE": (CABLE_IDH, "product_type_cable", "not a cable plug or VPD"),
    "IDH_PTYPE_PCABLE": (CABLE_IDH, "product_type_cable", "passive cable"),
    "IDH_PTYPE_ACABLE": (CABLE_IDH, "product_type_cable", "active cable"),
    "IDH_PTYPE_VPD": (CABLE_IDH, "product_type_cable", "VPD"),
    "IDH_PTYPE_NOT_DFP": (IDH, "product_type_dfp", "not a DFP"),
    "IDH_PTYPE_DFP_HUB": (IDH, "product_type_dfp", "PDUSB hub"),
    "IDH_PTYPE_DFP_HOST": (IDH, "product_type_dfp", "PDUSB host"),
    "IDH_PTYPE_DFP_PB": (IDH, "product_type_dfp", "power brick"),
    "UFP_RECEPTACLE": (UFP, "connector_type", "USB Type-C receptacle"),
    "UFP_CAPTIVE": (UFP, "connector_type", "captive or plug"),
    "AMA_VCONN_PWR_1W": (OLD_AMA, "vconn_power", "1 W"), "AMA_VCONN_PWR_1W5": (UFP, "vconn_power", "1.5 W"),
    "AMA_VCONN_PWR_6W": (OLD_AMA, "vconn_power", "6 W"),
    "UFP_USB2_ONLY": (UFP, "usb_highest_speed", "USB 2.0 only"),
    "UFP_USB32_GEN1": (UFP, "usb_highest_speed", "USB 3.2 Gen1"),
    "UFP_USB32_4_GEN2": (UFP, "usb_highest_speed", "USB 3.2 and USB4 Gen2"),
    "UFP_USB4_GEN3": (UFP, "usb_highest_speed", "USB4 Gen3"),
    "CABLE_ATYPE": (OLD_CABLE, "plug_type", "USB Type-A"), "CABLE_BTYPE": (OLD_CABLE, "plug_type", "USB Type-B"),
    "CABLE_CTYPE": (PASSIVE, "plug_type", "USB Type-C"), "CABLE_CAPTIVE": (ACTIVE, "plug_type", "captive"),
    "PCABLE_VCONN_NOT_REQ": (PASSIVE, "cable_termination_type", "VCONN not required"),
    "PCABLE_VCONN_REQ": (PASSIVE, "cable_termination_type", "VCONN required"),
    "ACABLE_ONE_END": (ACTIVE, "cable_termination_type", "one end active, VCONN required"),
    "ACABLE_BOTH_END": (ACTIVE, "cable_termination_type", "both ends active, VCONN required"),
    "CABLE_MAX_VBUS_20V": (PASSIVE, "maximum_vbus_voltage", "20 V"),
    "CABLE_MAX_VBUS_30V": (PASSIVE, "maximum_vbus_voltage", "30 V"),
    "CABLE_MAX_VBUS_40V": (ACTIVE, "maximum_vbus_voltage", "40 V"),
    "CABLE_MAX_VBUS_50V": (ACTIVE, "maximum_vbus_voltage", "50 V"),
    "ACABLE_SBU_SUPP": (ACTIVE, "sbu_supported", True), "ACABLE_SBU_NOT_SUPP": (ACTIVE, "sbu_supported", False),
    "ACABLE_SBU_PASSIVE": (ACTIVE, "sbu_type", "passive"), "ACABLE_SBU_ACTIVE": (ACTIVE, "sbu_type", "active"),
    "CABLE_CURR_3A": (PASSIVE, "vbus_current_handling_capability", "3 A"),
    "CABLE_CURR_5A": (OLD_CABLE, "vbus_current_handling_capability", "5 A"),
    "CABLE_USBSS_U2_ONLY": (OLD_CABLE, "usb_superspeed_signaling_support", "USB 2.0 only"),
    "CABLE_USBSS_U31_GEN1": (OLD_CABLE, "usb_superspeed_signaling_support", "USB 3.1 Gen1"),
    "CABLE_USBSS_U31_GEN2": (OLD_CABLE, "usb_superspeed_signaling_support", "USB 3.1 Gen1 and Gen2"),
    "CABLE_USB2_ONLY": (PASSIVE, "usb_highest_speed", "USB 2.0 only"),
    "CABLE_USB32_GEN1": (PASSIVE, "usb_highest_speed", "USB 3.2 Gen1"),
    "CABLE_USB32_4_GEN2": (ACTIVE, "usb_highest_speed", "USB 3.2 and USB4 Gen2"),
    "CABLE_USB4_GEN3": (ACTIVE, "usb_highest_speed", "USB4 Gen3"),
    "CABLE_LATENCY_1M": (PASSIVE, "cable_latency", "below 10 ns (about 1 m)"),
    "CABLE_LATENCY_7M": (ACTIVE, "cable_latency", "60 to 70 ns (about 7 m)"),
    "CABLE_LATENCY_7M_PLUS": (PASSIVE, "cable_latency", "above 70 ns (over 7 m)"),
    "ACAB2_U3_CLD_10MW_PLUS": (ACTIVE_2, "u3_cld_power", "above 10 mW"),
    "ACAB2_U3_CLD_10MW": (ACTIVE_2, "u3_cld_power", "5 to 10 mW"),
    "ACAB2_U3_CLD_5MW": (ACTIVE_2, "u3_cld_power", "1 to 5 mW"),
    "ACAB2_U3_CLD_1MW": (ACTIVE_2, "u3_cld_power", "0.5 to 1 mW"),
    "ACAB2_U3_CLD_500UW": (ACTIVE_2, "u3_cld_power", "0.2 to 0.5 mW"),
    "ACAB2_U3_CLD_200UW": (ACTIVE_2, "u3_cld_power", "0.05 to 0.2 mW"),
    "ACAB2_U3_CLD_50UW": (ACTIVE_2, "u3_cld_power", "below 0.05 mW"),
    "ACAB2_U3U0_DIRECT": (ACTIVE_2, "u3_to_u0_transition_mode", "direct"),
    "ACAB2_U3U0_U3S": (ACTIVE_2, "u3_to_u0_transition_mode", "through U3S"),
    "ACAB2_PHY_COPPER": (ACTIVE_2, "physical_connection", "copper"),
    "ACAB2_PHY_OPTICAL": (ACTIVE_2, "physical_connection", "optical"),
    "ACAB2_REDRIVER": (ACTIVE_2, "active_element", "re-driver"),
    "ACAB2_RETIMER": (ACTIVE_2, "active_element", "re-timer"),
    "ACAB2_USB4_SUPP": (ACTIVE_2, "usb4_supported", True), "ACAB2_USB2_SUPP": (ACTIVE_2, "usb_2_0_supported", True),
    "ACAB2_USB32_SUPP": (ACTIVE_2, "usb_3_2_supported", True),
    "ACAB2_LANES_ONE": (ACTIVE_2, "usb_lanes_supported", "one lane"),
    "ACAB2_LANES_TWO": (ACTIVE_2, "usb_lanes_supported", "two lanes"),
    "ACAB2_GEN_1": (ACTIVE_2, "usb_gen", "Gen 1"), "ACAB2_GEN_2_PLUS": (ACTIVE_2, "usb_gen", "Gen 2 or higher"),
    "AMA_USBSS_U2_ONLY": (OLD_AMA, "usb_superspeed_signaling_support", "USB 2.0 only"),
    "AMA_USBSS_BBONLY": (OLD_AMA, "usb_superspeed_signaling_support", "USB 2.0 billboard only"),
    "AMA_VBUS_REQ": (UFP, "vbus_required", True), "AMA_VBUS_NOT_REQ": (UFP, "vbus_required", False),
    "VPD_MAX_VBUS_50V": (VPD, "maximum_vbus_voltage", "50 V"),
    "VPDCT_CURR_3A": (VPD, "charge_through_current_support", "3 A"),
    "VPDCT_CURR_5A": (VPD, "charge_through_current_support", "5 A"),
    "VPDCT_SUPP": (VPD, "charge_through_support", True),
    "DEV_USB2_CAPABLE": (UFP, "device_capability", ["USB 2.0"]),
    "DEV_USB2_BILLBOARD": (UFP, "device_capability", ["USB 2.0 billboard only"]),
    "DEV_USB3_CAPABLE": (UFP, "device_capability", ["USB 3.2"]),
    "DEV_USB4_CAPABLE": (UFP, "device_capability", ["USB4"]),
    "HOST_USB2_CAPABLE": (DFP, "host_capability", ["USB 2.0"]),
    "HOST_USB3_CAPABLE": (DFP, "host_capability", ["USB 3.2"]),
    "HOST_USB4_CAPABLE": (DFP, "host_capability", ["USB4"]),
    "UFP_ALTMODE_TBT3": (UFP, "alternate_modes", ["TBT3"]),
    "UFP_ALTMODE_RECFG": (UFP, "alternate_modes", ["reconfigures the signals"]),
    "UFP_ALTMODE_NO_RECFG": (UFP, "alternate_modes", ["does not reconfigure the signals"]),
    "EUDO_USB_MODE_USB2": (EUDO, "usb_mode", "USB 2.0"), "EUDO_USB_MODE_USB3": (EUDO, "usb_mode", "USB 3.2"),
    "EUDO_USB_MODE_USB4": (EUDO, "usb_mode", "USB4"),
    "EUDO_CABLE_SPEED_USB2": (EUDO, "cable_speed", "USB 2.0 only"),
    "EUDO_CABLE_SPEED_USB3_GEN1": (EUDO, "cable_speed", "USB 3.2 Gen1"),
    "EUDO_CABLE_SPEED_USB4_GEN2": (EUDO, "cable_speed", "USB 3.2 Gen2 and USB4 Gen2"),
    "EUDO_CABLE_SPEED_USB4_GEN3": (EUDO, "cable_speed", "USB4 Gen3"),
    "EUDO_CABLE_TYPE_PASSIVE": (EUDO, "cable_type", "passive"),
    "EUDO_CABLE_TYPE_RE_TIMER": (EUDO, "cable_type", "active re-timer"),
    "EUDO_CABLE_TYPE_RE_DRIVER": (EUDO, "cable_type", "active re-driver"),
    "EUDO_CABLE_TYPE_OPTICAL": (EUDO, "cable_type", "optically isolated"),
    "EUDO_CABLE_CURRENT_NOTSUPP": (EUDO, "cable_current", "VBUS not supported"),
    "EUDO_CABLE_CURRENT_3A": (EUDO, "cable_current", "3 A"), "EUDO_CABLE_CURRENT_5A": (EUDO, "cable_current", "5 A"),
    "DP_CAP_UFP_D": (CAPABILITIES, "port_capability", "UFP_D (sink)"),
    "DP_CAP_DFP_D": (CAPABILITIES, "port_capability", "DFP_D (source)"),
    "DP_CAP_DFP_D_AND_UFP_D": (CAPABILITIES, "port_capability", "DFP_D and UFP_D"),
    "DP_STATUS_CON_DISABLED": (STATUS, "connection", "none"),
    "DP_STATUS_CON_DFP_D": (STATUS, "connection", "DFP_D connected"),
    "DP_STATUS_CON_UFP_D": (STATUS, "connection", "UFP_D connected"),
    "DP_STATUS_CON_BOTH": (STATUS, "connection", "both connected"),
    "DP_CONF_UFP_U_AS_DFP_D": (CONFIGURATION, "configure_as", "UFP_U as DFP_D"),
    "DP_CONF_UFP_U_AS_UFP_D": (CONFIGURATION, "configure_as", "UFP_U as UFP_D"),
    "DP_CAP_CABLE_TYPE_RE_TIMER": (CAPABILITIES, "cable_active_component", "re-timer"),
    "DP_CAP_CABLE_TYPE_RE_DRIVER": (CAPABILITIES, "cable_active_component", "re-driver"),
    "DP_CAP_CABLE_TYPE_OPTICAL": (CONFIGURATION, "cable_active_component", "optical"),
}

PLACES: Mapping[str, tuple[str, str, int]] = {
    "USB_PD_ADO_TYPE_BATT_STATUS_CHANGE": (ALERT, "battery_status_change_event", 24),
    "USB_PD_ADO_TYPE_OCP": (ALERT, "ocp_event", 24), "USB_PD_ADO_TYPE_OTP": (ALERT, "otp_event", 24),
    "USB_PD_ADO_TYPE_OP_COND_CHANGE": (ALERT, "operating_condition_change", 24),
    "USB_PD_ADO_TYPE_SRC_INPUT_CHANGE": (ALERT, "source_input_change_event", 24),
    "USB_PD_ADO_TYPE_OVP": (ALERT, "ovp_event", 24),
    "USB_PD_EXT_SDB_EVENT_OCP": (SDB, "ocp_event", 24), "USB_PD_EXT_SDB_EVENT_OTP": (SDB, "otp_event", 24),
    "USB_PD_EXT_SDB_EVENT_OVP": (SDB, "ovp_event", 24),
    "USB_PD_EXT_SDB_EVENT_CF_CV_MODE": (SDB, "cl_cv_mode", 24),
}
"""A bit of one byte: where our field lies, and the lowest bit of that byte."""

OFFSETS: Mapping[str, str] = {
    "USB_PD_EXT_SDB_INTERNAL_TEMP": "internal_temp_c", "USB_PD_EXT_SDB_PRESENT_INPUT": "external_power",
    "USB_PD_EXT_SDB_PRESENT_BATT_INPUT": "present_fixed_batteries", "USB_PD_EXT_SDB_EVENT_FLAGS": "ocp_event",
    "USB_PD_EXT_SDB_TEMP_STATUS": "temperature_status",
}


def number_of(words: str, names: Mapping[int, str]) -> int:
    return next(number for number, name in names.items() if name == words)


def ours(question: Question, kernels: int) -> int:
    """Our answer to the question; for a message type, whether its name is that of the kernel's number."""
    name, arguments = question
    if name in UNPACKED:
        return UNPACKED[name](arguments)
    if name in PACKED:
        return PACKED[name](arguments)
    if name in CODES:
        layout, field, words = CODES[name]
        found: Field = span_of(layout, field).field
        return found.raw_of(words)
    if name in PLACES:
        layout, field, byte = PLACES[name]
        return 1 << span_of(layout, field).low - byte
    if name in OFFSETS:
        return span_of(SDB, OFFSETS[name]).low // 8
    if name in MESSAGES:
        return kernels if _message_name(name, kernels) == MESSAGES[name] else -1
    return {
        "CMD_DISCOVER_IDENT": number_of("Discover_Identity", COMMANDS),
        "CMD_DISCOVER_SVID": number_of("Discover_SVIDs", COMMANDS),
        "CMD_DISCOVER_MODES": number_of("Discover_Modes", COMMANDS),
        "CMD_ENTER_MODE": number_of("Enter_Mode", COMMANDS), "CMD_EXIT_MODE": number_of("Exit_Mode", COMMANDS),
        "CMD_ATTENTION": number_of("Attention", COMMANDS), "USB_SID_PD": SVID_PD,
        "USB_SID_DISPLAYPORT": SVID_DISPLAYPORT,
        "DP_CMD_STATUS_UPDATE": number_of("DisplayPort_Status_Update", DISPLAYPORT_COMMANDS),
        "DP_CMD_CONFIGURE": number_of("DisplayPort_Configure", DISPLAYPORT_COMMANDS),
    }[name]


def _message_name(name: str, number: int) -> str:
    count = 0 if name.startswith("PD_CTRL") else 1
    header = build_header(message_type=number, object_count=count, extended=name.startswith("PD_EXT"))
    return parse(header + bytes(4 * count)).name


def test_the_committed_table_has_every_expression() -> None:
    assert {question[0] for _, question, _ in facts()} == set(EXPRESSIONS)


@pytest.mark.parametrize("name", EXPRESSIONS)
def test_committed_facts(name: str) -> None:
    """Drawn from the headers named in the table's first column."""
    for package, question, answer in facts():
        if question[0] == name:
            assert ours(question, answer) == answer, (package, question)


@pytest.mark.parametrize("which", ["oldest", "newest"])
def test_random_words_against_the_installed_headers(which: str) -> None:
    """Debian linux-headers-6.*-common, its macros compiled with gcc."""
    versions = installed()
    if not versions:
        pytest.skip("no linux-headers-6.*-common is installed")
    folder: Path = versions[0 if which == "oldest" else -1]
    if which == "newest" and len(versions) == 1:
        pytest.skip("only one version of the headers is installed")
    asked = questions(RANDOM_EACH, seed=20261125)
    try:
        answers = ask(folder, asked)
    except FileNotFoundError:
        pytest.skip("there is no gcc")
    except subprocess.CalledProcessError as error:
        pytest.fail(f"gcc cannot compile {folder}: {error.stderr!r}")
    known = [(question, answer) for question, answer in zip(asked, answers, strict=True) if answer is not None]
    assert len(known) > 5000
    wrong = [(question, answer, mine) for question, answer in known if (mine := ours(question, answer)) != answer]
    assert not wrong, wrong[:10]
