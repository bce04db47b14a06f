"""Asks the Linux kernel's own macros what a word means, so that our declarations meet arithmetic of others.

`pd.h`, `pd_vdo.h`, `pd_ado.h`, `pd_bdo.h`, `pd_ext_sdb.h` and `typec_dp.h` of Debian's
`linux-headers-6.*-common` are compiled with gcc against a handful of stand-ins for what they include. The
program reads lines `NAME ARGUMENT...` and answers each with a number, or `-` where this version of the
headers does not have it.

    python -m tests.reference.kernel_draw > tests/reference/kernel_facts.csv

writes the committed table anew from every installed version.
"""

from __future__ import annotations

import csv
import random
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

HEADERS = "linux-headers-6.*-common/include/linux/usb"
FACTS = Path(__file__).with_name("kernel_facts.csv")
COLUMNS = ("package", "expression", "arguments", "result")
ROWS_EACH = 4

STAND_INS = {
    "linux/kernel.h": """
        #pragma once
        #include <stdint.h>
        #include <stdbool.h>
        typedef uint8_t u8; typedef uint16_t u16; typedef uint32_t u32;
        typedef uint16_t __le16; typedef uint32_t __le32;
        #define __packed __attribute__((packed))
        #define BIT(n) (1U << (n))
        #define GENMASK(h, l) ((~0U >> (31 - (h))) & (~0U << (l)))
        #define FIELD_GET(mask, reg) (((reg) & (mask)) >> __builtin_ctz(mask))
        #define cpu_to_le16(x) (x)
        #define le16_to_cpu(x) (x)
        #define IS_ENABLED(x) 0
        struct device;
    """,
    "linux/types.h": "#include <linux/kernel.h>\n",
    "linux/bitfield.h": "#include <linux/kernel.h>\n",
    # Linux typec.h: enum typec_data_role { TYPEC_DEVICE, TYPEC_HOST }, enum typec_role { TYPEC_SINK, TYPEC_SOURCE }
    "linux/usb/typec.h": """
        #pragma once
        enum typec_data_role { TYPEC_DEVICE, TYPEC_HOST };
        enum typec_role { TYPEC_SINK, TYPEC_SOURCE };
    """,
    "linux/usb/typec_altmode.h": "#define TYPEC_STATE_MODAL 2\n",
}


@dataclass(frozen=True)
class Expression:
    """A C expression over `a[0]`, `a[1]`, ...

    `widths`: bits of each random argument. `needs`: a macro without which this version does not have it.
    """

    c: str
    widths: tuple[int, ...] = ()
    needs: str = ""


def _functions(names: str, bits: int = 32) -> dict[str, Expression]:
    return {name: Expression(f"{name}(a[0])", (bits,)) for name in names.split()}


def _macros(names: str) -> dict[str, Expression]:
    return {name: Expression(f"{name}(a[0])", (32,), name) for name in names.split()}


def _flags(names: str) -> dict[str, Expression]:
    return {name: Expression(f"!!(a[0] & {name})", (32,), name) for name in names.split()}


def _constants(names: str) -> dict[str, Expression]:
    return {name: Expression(name, (), name) for name in names.split()}


def _enums(names: str) -> dict[str, Expression]:
    return {name: Expression(name) for name in names.split()}


def _packs(name: str, *widths: int) -> dict[str, Expression]:
    arguments = ", ".join(f"a[{index}]" for index in range(len(widths)))
    return {name: Expression(f"{name}({arguments})", widths, name)}


EXPRESSIONS: dict[str, Expression] = {
    **_functions("pd_header_cnt pd_header_type pd_header_msgid pd_header_rev", 16),
    **_functions("pd_ext_header_chunk_num pd_ext_header_data_size", 16),
    **_functions(
        "pdo_type pdo_fixed_voltage pdo_min_voltage pdo_max_voltage pdo_max_current pdo_max_power pdo_apdo_type "
        "pdo_pps_apdo_min_voltage pdo_pps_apdo_max_voltage pdo_pps_apdo_max_current "
        "rdo_index rdo_op_current rdo_max_current rdo_op_power rdo_max_power "
        "usb_pd_ado_type usb_pd_ado_fixed_batt usb_pd_ado_hot_swap_batt"
    ),
    **_macros(
        "PD_VDO_VID PD_VDO_SVDM PD_VDO_SVDM_VER PD_VDO_OPOS PD_VDO_CMD PD_VDO_CMDT PD_IDH_PTYPE PD_IDH_VID "
        "PD_IDH_DFP_PTYPE PD_IDH_CONN_TYPE PD_CSTAT_XID PD_PRODUCT_PID PD_VDO_UFP_DEVCAP PD_VDO_DFP_HOSTCAP "
        "VDO_TYPEC_CABLE_TYPE VDO_TYPEC_CABLE_SPEED PD_VDO_AMA_VCONN_REQ PD_VDO_AMA_VBUS_REQ "
        "PD_VDO_SVID_SVID0 PD_VDO_SVID_SVID1 DP_CAP_CAPABILITY DP_CAP_DP_SIGNALLING DP_CAP_DFP_D_PIN_ASSIGN "
        "DP_CAP_UFP_D_PIN_ASSIGN DP_CAP_CABLE_TYPE DP_STATUS_CONNECTION DP_CONF_CURRENTLY DP_CONF_GET_PIN_ASSIGN"
    ),
    **_flags(
        "PDO_FIXED_DUAL_ROLE PDO_FIXED_SUSPEND PDO_FIXED_HIGHER_CAP PDO_FIXED_EXTPOWER PDO_FIXED_USB_COMM "
        "PDO_FIXED_DATA_SWAP PDO_FIXED_UNCHUNK_EXT RDO_GIVE_BACK RDO_CAP_MISMATCH RDO_USB_COMM RDO_NO_SUSPEND "
        "EUDO_USB4_DRD EUDO_USB3_DRD EUDO_PCIE_SUPPORT EUDO_DP_SUPPORT EUDO_TBT_SUPPORT EUDO_HOST_PRESENT "
        "DP_CAP_RECEPTACLE DP_CAP_USB DP_CAP_UHBR_13_5_SUPPORT DP_CAP_DPAM_VERSION DP_STATUS_POWER_LOW "
        "DP_STATUS_ENABLED DP_STATUS_PREFER_MULTI_FUNC DP_STATUS_SWITCH_TO_USB DP_STATUS_EXIT_DP_MODE "
        "DP_STATUS_HPD_STATE DP_STATUS_IRQ_HPD"
    ),
    "PDO_FIXED_FRS_CURR": Expression("(a[0] & PDO_FIXED_FRS_CURR_MASK) >> PDO_FIXED_FRS_CURR_SHIFT", (32,)),
    "PDO_FIXED_PEAK_CURR": Expression(
        "(a[0] >> PDO_FIXED_PEAK_CURR_SHIFT) & 3", (32,), "PDO_FIXED_PEAK_CURR_SHIFT"
    ),
    "EUDO_USB_MODE": Expression("(a[0] & EUDO_USB_MODE_MASK) >> EUDO_USB_MODE_SHIFT", (32,)),
    "EUDO_CABLE_SPEED": Expression("(a[0] & EUDO_CABLE_SPEED_MASK) >> EUDO_CABLE_SPEED_SHIFT", (32,)),
    "EUDO_CABLE_TYPE": Expression("(a[0] & EUDO_CABLE_TYPE_MASK) >> EUDO_CABLE_TYPE_SHIFT", (32,)),
    "EUDO_CABLE_CURRENT": Expression("(a[0] & EUDO_CABLE_CURRENT_MASK) >> EUDO_CABLE_CURRENT_SHIFT", (32,)),
    "BDO_MODE": Expression("BDO_MODE_MASK(a[0]) >> 28", (32,)),
    "DP_CONF_SIGNALLING": Expression(
        "(a[0] & DP_CONF_SIGNALLING_MASK) >> DP_CONF_SIGNALLING_SHIFT", (32,), "DP_CONF_SIGNALLING_MASK"
    ),
    "DP_CONF_CABLE_TYPE": Expression(
        "(a[0] & DP_CONF_CABLE_TYPE_MASK) >> DP_CONF_CABLE_TYPE_SHIFT", (32,), "DP_CONF_CABLE_TYPE_MASK"
    ),
    # what the macros pack; their arguments are in steps here, so that every value can be reached
    "PD_HEADER": Expression(
        "PD_HEADER(a[0], a[1] ? TYPEC_SOURCE : TYPEC_SINK, a[2] ? TYPEC_HOST : TYPEC_DEVICE, a[3], a[4], a[5], a[6])",
        (5, 1, 1, 2, 3, 3, 1),
    ),
    **_packs("PD_EXT_HDR", 9, 1, 4, 1),
    "PDO_FIXED": Expression("PDO_FIXED(a[0] * 50, a[1] * 10, 0)", (10, 10)),
    "PDO_BATT": Expression("PDO_BATT(a[0] * 50, a[1] * 50, a[2] * 250)", (10, 10, 10)),
    "PDO_VAR": Expression("PDO_VAR(a[0] * 50, a[1] * 50, a[2] * 10)", (10, 10, 10)),
    "PDO_PPS_APDO": Expression("PDO_PPS_APDO(a[0] * 100, a[1] * 100, a[2] * 50)", (8, 8, 7)),
    "RDO_FIXED": Expression("RDO_FIXED(a[0], a[1] * 10, a[2] * 10, 0)", (3, 10, 10)),
    "RDO_BATT": Expression("RDO_BATT(a[0], a[1] * 250, a[2] * 250, 0)", (3, 10, 10)),
    "RDO_PROG": Expression("RDO_PROG(a[0], a[1] * 20, a[2] * 50, 0)", (3, 11, 7)),
    # bits 14:13 of the custom part would fall on the version
    **_packs("VDO", 16, 1, 2, 11),
    **_packs("VDO_IDH", 1, 1, 3, 1, 3, 2, 16),
    **_packs("VDO_CERT", 32),
    **_packs("VDO_PRODUCT", 16, 16),
    **_packs("VDO_UFP", 3, 4, 2, 3, 1, 1, 3, 3),
    **_packs("VDO_DFP", 3, 3, 2, 5),
    # hw, fw and latency have three bits in this one
    **_packs("VDO_CABLE", 3, 3, 2, 3, 2, 1, 1, 1, 1, 2, 1, 1, 3),
    **_packs("VDO_PCABLE", 4, 4, 3, 2, 4, 2, 2, 2, 3),
    **_packs("VDO_ACABLE1", 4, 4, 3, 2, 4, 2, 2, 1, 1, 2, 1, 1, 3),
    **_packs("VDO_ACABLE2", 8, 8, 3, 1, 1, 1, 1, 2, 1, 1, 1, 1, 1),
    **_packs("VDO_AMA", 3, 3, 1, 1, 1, 1, 3, 1, 1, 3),
    **_packs("VDO_VPD", 4, 4, 3, 2, 1, 6, 6, 1),
    **_packs("VDO_SVID", 16, 16),
    # example of the binding usb-connector.yaml
    "usb-connector.yaml fixed": Expression("PDO_FIXED(5000, 2000, PDO_FIXED_USB_COMM)"),
    "usb-connector.yaml variable": Expression("PDO_VAR(5000, 12000, 2000)"),
    **_enums(
        "PD_CTRL_GOOD_CRC PD_CTRL_GOTO_MIN PD_CTRL_ACCEPT PD_CTRL_REJECT PD_CTRL_PING PD_CTRL_PS_RDY "
        "PD_CTRL_GET_SOURCE_CAP PD_CTRL_GET_SINK_CAP PD_CTRL_DR_SWAP PD_CTRL_PR_SWAP PD_CTRL_VCONN_SWAP "
        "PD_CTRL_WAIT PD_CTRL_SOFT_RESET PD_CTRL_NOT_SUPP PD_CTRL_GET_SOURCE_CAP_EXT PD_CTRL_GET_STATUS "
        "PD_CTRL_FR_SWAP PD_CTRL_GET_PPS_STATUS PD_CTRL_GET_COUNTRY_CODES PD_DATA_SOURCE_CAP PD_DATA_REQUEST "
        "PD_DATA_BIST PD_DATA_SINK_CAP PD_DATA_BATT_STATUS PD_DATA_ALERT PD_DATA_GET_COUNTRY_INFO "
        "PD_DATA_ENTER_USB PD_DATA_VENDOR_DEF PD_EXT_SOURCE_CAP_EXT PD_EXT_STATUS PD_EXT_GET_BATT_CAP "
        "PD_EXT_GET_BATT_STATUS PD_EXT_BATT_CAP PD_EXT_GET_MANUFACTURER_INFO PD_EXT_MANUFACTURER_INFO "
        "PD_EXT_SECURITY_REQUEST PD_EXT_SECURITY_RESPONSE PD_EXT_FW_UPDATE_REQUEST PD_EXT_FW_UPDATE_RESPONSE "
        "PD_EXT_PPS_STATUS PD_EXT_COUNTRY_INFO PD_EXT_COUNTRY_CODES "
        "USB_PD_EXT_SDB_INTERNAL_TEMP USB_PD_EXT_SDB_PRESENT_INPUT USB_PD_EXT_SDB_PRESENT_BATT_INPUT "
        "USB_PD_EXT_SDB_EVENT_FLAGS USB_PD_EXT_SDB_TEMP_STATUS"
    ),
    **_constants(
        "CMDT_INIT CMDT_RSP_ACK CMDT_RSP_NAK CMDT_RSP_BUSY CMD_DISCOVER_IDENT CMD_DISCOVER_SVID "
        "CMD_DISCOVER_MODES CMD_ENTER_MODE CMD_EXIT_MODE CMD_ATTENTION USB_SID_PD USB_SID_DISPLAYPORT "
        "DP_CMD_STATUS_UPDATE DP_CMD_CONFIGURE IDH_PTYPE_NOT_UFP IDH_PTYPE_HUB IDH_PTYPE_PERIPH IDH_PTYPE_PSD "
        "IDH_PTYPE_AMA IDH_PTYPE_NOT_CABLE IDH_PTYPE_PCABLE IDH_PTYPE_ACABLE IDH_PTYPE_VPD IDH_PTYPE_NOT_DFP "
        "IDH_PTYPE_DFP_HUB IDH_PTYPE_DFP_HOST IDH_PTYPE_DFP_PB UFP_RECEPTACLE UFP_CAPTIVE AMA_VCONN_PWR_1W "
        "AMA_VCONN_PWR_1W5 AMA_VCONN_PWR_6W UFP_USB2_ONLY UFP_USB32_GEN1 UFP_USB32_4_GEN2 UFP_USB4_GEN3 "
        "CABLE_ATYPE CABLE_BTYPE CABLE_CTYPE CABLE_CAPTIVE PCABLE_VCONN_NOT_REQ PCABLE_VCONN_REQ ACABLE_ONE_END "
        "ACABLE_BOTH_END CABLE_MAX_VBUS_20V CABLE_MAX_VBUS_30V CABLE_MAX_VBUS_40V CABLE_MAX_VBUS_50V "
        "ACABLE_SBU_SUPP ACABLE_SBU_NOT_SUPP ACABLE_SBU_PASSIVE ACABLE_SBU_ACTIVE CABLE_CURR_3A CABLE_CURR_5A "
        "CABLE_USBSS_U2_ONLY CABLE_USBSS_U31_GEN1 CABLE_USBSS_U31_GEN2 CABLE_USB2_ONLY CABLE_USB32_GEN1 "
        "CABLE_USB32_4_GEN2 CABLE_USB4_GEN3 CABLE_LATENCY_1M CABLE_LATENCY_7M CABLE_LATENCY_7M_PLUS "
        "ACAB2_U3_CLD_10MW_PLUS ACAB2_U3_CLD_10MW ACAB2_U3_CLD_5MW ACAB2_U3_CLD_1MW ACAB2_U3_CLD_500UW "
        "ACAB2_U3_CLD_200UW ACAB2_U3_CLD_50UW ACAB2_U3U0_DIRECT ACAB2_U3U0_U3S ACAB2_PHY_COPPER "
        "ACAB2_PHY_OPTICAL ACAB2_REDRIVER ACAB2_RETIMER ACAB2_USB4_SUPP ACAB2_USB2_SUPP ACAB2_USB32_SUPP "
        "ACAB2_LANES_ONE ACAB2_LANES_TWO ACAB2_GEN_1 ACAB2_GEN_2_PLUS AMA_USBSS_U2_ONLY AMA_USBSS_BBONLY "
        "AMA_VBUS_REQ AMA_VBUS_NOT_REQ VPD_MAX_VBUS_50V VPDCT_CURR_3A VPDCT_CURR_5A VPDCT_SUPP DEV_USB2_CAPABLE "
        "DEV_USB2_BILLBOARD DEV_USB3_CAPABLE DEV_USB4_CAPABLE HOST_USB2_CAPABLE HOST_USB3_CAPABLE "
        "HOST_USB4_CAPABLE UFP_ALTMODE_TBT3 UFP_ALTMODE_RECFG UFP_ALTMODE_NO_RECFG EUDO_USB_MODE_USB2 "
        "EUDO_USB_MODE_USB3 EUDO_USB_MODE_USB4 EUDO_CABLE_SPEED_USB2 EUDO_CABLE_SPEED_USB3_GEN1 "
        "EUDO_CABLE_SPEED_USB4_GEN2 EUDO_CABLE_SPEED_USB4_GEN3 EUDO_CABLE_TYPE_PASSIVE EUDO_CABLE_TYPE_RE_TIMER "
        "EUDO_CABLE_TYPE_RE_DRIVER EUDO_CABLE_TYPE_OPTICAL EUDO_CABLE_CURRENT_NOTSUPP EUDO_CABLE_CURRENT_3A "
        "EUDO_CABLE_CURRENT_5A DP_CAP_UFP_D DP_CAP_DFP_D DP_CAP_DFP_D_AND_UFP_D DP_STATUS_CON_DISABLED "
        "DP_STATUS_CON_DFP_D DP_STATUS_CON_UFP_D DP_STATUS_CON_BOTH DP_CONF_UFP_U_AS_DFP_D "
        "DP_CONF_UFP_U_AS_UFP_D DP_CAP_CABLE_TYPE_RE_TIMER DP_CAP_CABLE_TYPE_RE_DRIVER "
        "DP_CAP_CABLE_TYPE_OPTICAL USB_PD_ADO_TYPE_BATT_STATUS_CHANGE USB_PD_ADO_TYPE_OCP USB_PD_ADO_TYPE_OTP "
        "USB_PD_ADO_TYPE_OP_COND_CHANGE USB_PD_ADO_TYPE_SRC_INPUT_CHANGE USB_PD_ADO_TYPE_OVP "
        "USB_PD_EXT_SDB_EVENT_OCP USB_PD_EXT_SDB_EVENT_OTP USB_PD_EXT_SDB_EVENT_OVP "
        "USB_PD_EXT_SDB_EVENT_CF_CV_MODE"
    ),
}

Question = tuple[str, tuple[int, ...]]


def installed() -> list[Path]:
    """The header folders of every installed version, the newest last."""
    return sorted(Path("/usr/src").glob(HEADERS))


def questions(each: int, seed: int) -> list[Question]:
    """Random arguments for every expression, `each` times; once for one that has none."""
    chance = random.Random(seed)
    return [
        (name, tuple(chance.getrandbits(width) for width in expression.widths))
        for name, expression in EXPRESSIONS.items()
        for _ in range(each if expression.widths else 1)
    ]


def _program(headers: Path) -> str:
    files = ("pd.h", "pd_vdo.h", "pd_ado.h", "pd_bdo.h", "pd_ext_sdb.h", "typec_dp.h")
    lines = [f'#include "{headers / name}"' for name in files]
    lines += [
        "#include <stdio.h>", "#include <string.h>", "#include <stdlib.h>",
        "int main(void) {",
        "  static char line[4096];",
        "  while (fgets(line, sizeof line, stdin)) {",
        "    unsigned a[16] = {0}; int n = 0;",
        '    char *name = strtok(line, "\\t\\n"), *next;',
        '    while ((next = strtok(NULL, "\\t\\n"))) a[n++] = (unsigned)strtoul(next, NULL, 10);',
        "    if (0) {}",
    ]
    for name, expression in EXPRESSIONS.items():
        answer = f'    else if (!strcmp(name, "{name}")) printf("%u\\n", (unsigned)({expression.c}));'
        lines += [f"#ifdef {expression.needs}", answer, "#endif"] if expression.needs else [answer]
    lines += ['    else printf("-\\n");', "  }", "  return 0;", "}"]
    return "\n".join(lines) + "\n"


def ask(headers: Path, asked: Sequence[Question]) -> list[int | None]:
    """The kernel's answers; None where this version has no such macro.

    Raises CalledProcessError where gcc cannot compile the headers, FileNotFoundError where there is no gcc.
    """
    with tempfile.TemporaryDirectory() as folder:
        for name, text in STAND_INS.items():
            path = Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text)
        source, program = Path(folder, "ask.c"), Path(folder, "ask")
        source.write_text(_program(headers))
        command = ["gcc", "-std=gnu11", "-w", "-I", folder, "-o", str(program), str(source)]
        subprocess.run(command, check=True, capture_output=True)
        lines = "".join("\t".join([name, *map(str, arguments)]) + "\n" for name, arguments in asked)
        done = subprocess.run([str(program)], input=lines, text=True, capture_output=True, check=True)
    return [None if answer == "-" else int(answer) for answer in done.stdout.split()]


def facts() -> list[tuple[str, Question, int]]:
    """The committed table: package, question, answer."""
    with FACTS.open(newline="") as file:
        return [
            (row["package"], (row["expression"], tuple(map(int, row["arguments"].split()))), int(row["result"], 16))
            for row in csv.DictReader(file)
        ]


def draw(folders: Iterable[Path]) -> None:
    """Writes the table to standard output: each question answered by the oldest version that can."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(COLUMNS)
    open_questions = questions(ROWS_EACH, seed=20)
    for folder in folders:
        left: list[Question] = []
        for question, answer in zip(open_questions, ask(folder, open_questions), strict=True):
            if answer is None:
                left.append(question)
            else:
                package = folder.parents[2].name
                writer.writerow((package, question[0], " ".join(map(str, question[1])), f"0x{answer:X}"))
        open_questions = left


if __name__ == "__main__":
    draw([Path(argument) for argument in sys.argv[1:]] or installed())
