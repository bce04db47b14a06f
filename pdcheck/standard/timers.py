"""Timers of the specifications: how long who may take.

Why it is: every rule that judges a delay takes its limit from here, with the words that say where the
number was compared.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_PD = "USB PD, section 6.6 (timers) and its time values table"
_TC = "USB Type-C, section 4.11 (timing parameters)"

SENDER_RESPONSE_R2_0 = Limit(
    "tSenderResponse (R2.0/R3.0)", 24, 27, 30, "ms",
    "a response must arrive after the GoodCRC of the request or the sender gives up",
    _PD, "Zephyr 4.0 usbc_pd.h (24/27/30); Linux 6.1 pd.h comment (24 - 30 ms)",
)
SENDER_RESPONSE_R3_1 = Limit(
    "tSenderResponse (R3.1 and later)", 27, 30, 33, "ms",
    "same; the window moved in R3.1",
    _PD, "memory; a public note quoting R3.1 Table 6.69",
)
RECEIVER_RESPONSE = Limit(
    "tReceiverResponse", None, None, 15, "ms",
    "the receiver of a request must start its response within this",
    _PD, "Linux 6.1 PD_T_RECEIVER_RESPONSE 15",
)
RECEIVE = Limit(
    "tReceive", 0.9, 1.0, 1.1, "ms",
    "CRCReceiveTimer: GoodCRC must be complete this long after the message's EOP",
    _PD, "memory; a public note quoting R3.1 Table 6.69",
)
TRANSMIT = Limit(
    "tTransmit", None, None, 195, "us",
    "first bit of the GoodCRC preamble after the last bit of the EOP",
    _PD, "memory",
)
TYPE_C_SEND_SOURCE_CAP = Limit(
    "tTypeCSendSourceCap", 100, 150, 200, "ms",
    "interval between unanswered Source_Capabilities",
    _PD, "Zephyr 4.0 (100/200); Linux 6.1 PD_T_SEND_SOURCE_CAP 150",
)
TYPE_C_SINK_WAIT_CAP = Limit(
    "tTypeCSinkWaitCap", 310, 465, 620, "ms",
    "how long a sink waits for Source_Capabilities before it resets",
    _PD, "Zephyr 4.0 (310/620); Linux 6.1 (310 - 620 ms)",
)
FIRST_SOURCE_CAP = Limit(
    "tFirstSourceCap", None, None, 250, "ms",
    "first Source_Capabilities after VBUS is present",
    _PD, "memory",
)
SRC_TRANSITION = Limit(
    "tSrcTransition", 25, None, 35, "ms",
    "Accept to the start of the voltage change",
    _PD, "Linux 6.1 PD_T_SRC_TRANSITION 35",
)
SRC_READY = Limit(
    "tSrcReady", None, None, 285, "ms",
    "start of the change to the new voltage being ready (SPR)",
    _PD, "memory",
)
PS_TRANSITION_SPR = Limit(
    "tPSTransition (SPR)", 450, 500, 550, "ms",
    "Accept to PS_RDY as the sink waits for it",
    _PD, "Zephyr 4.0 (450/500/550); Linux 6.1 500",
)
PS_TRANSITION_EPR = Limit(
    "tPSTransition (EPR)", 830, 925, 1020, "ms",
    "same in EPR mode",
    _PD, "Zephyr 4.0 (830/925/1020)",
)
PS_HARD_RESET = Limit(
    "tPSHardReset", 25, 30, 35, "ms",
    "Hard Reset to VBUS starting to fall",
    _PD, "Zephyr 4.0 (25/35); Linux 6.1 30",
)
HARD_RESET = Limit(
    "tHardReset", None, None, 5, "ms",
    "",
    _PD, "memory",
)
HARD_RESET_COMPLETE = Limit(
    "tHardResetComplete", 4, None, 5, "ms",
    "",
    _PD, "Zephyr 4.0 (4/5)",
)
SAFE_0V = Limit(
    "tSafe0V", None, None, 650, "ms",
    "VBUS below vSafe0V max after a Hard Reset",
    _PD, "Zephyr 4.0 650; Linux 6.1 650",
)
SAFE_5V = Limit(
    "tSafe5V", None, None, 275, "ms",
    "VBUS within vSafe5V",
    _PD, "Zephyr 4.0 275",
)
SRC_RECOVER_SPR = Limit(
    "tSrcRecover (SPR)", 660, None, 1000, "ms",
    "VBUS stays off after a Hard Reset",
    _PD, "Linux 6.1 760 and 1000",
)
SRC_RECOVER_EPR = Limit(
    "tSrcRecover (EPR)", 1085, None, 1425, "ms",
    "same in EPR mode",
    _PD, "memory",
)
SRC_TURN_ON = Limit(
    "tSrcTurnOn", None, None, 275, "ms",
    "VBUS back to vSafe5V",
    _PD, "Linux 6.1 275",
)
NO_RESPONSE = Limit(
    "tNoResponse", 4.5, 5.0, 5.5, "s",
    "no answer after a Hard Reset",
    _PD, "Zephyr 4.0 (4500/5500 ms); Linux 6.1 comment",
)
SOFT_RESET = Limit(
    "tSoftReset", None, None, 15, "ms",
    "a Soft_Reset must be answered",
    _PD, "memory",
)
SINK_REQUEST = Limit(
    "tSinkRequest", 100, None, None, "ms",
    "a sink waits this long after Wait",
    _PD, "Zephyr 4.0 100; Linux 6.1 100 ms minimum",
)
SINK_TX = Limit(
    "tSinkTx", 16, 18, 20, "ms",
    "source holds SinkTxNG before it starts an exchange (R3.x)",
    _PD, "Zephyr 4.0 (16/20); Linux 6.1 (16 - 20 ms)",
)
PPS_REQUEST = Limit(
    "tPPSRequest", None, None, 10, "s",
    "a sink in PPS repeats its Request within this",
    _PD, "memory",
)
PPS_TIMEOUT = Limit(
    "tPPSTimeout", 12, 13.5, 15, "s",
    "a source in PPS resets without a Request for this long",
    _PD, "memory",
)
PS_SOURCE_OFF = Limit(
    "tPSSourceOff (SPR)", 750, 835, 920, "ms",
    "PR_Swap: new source waits for the old one to be off",
    _PD, "Linux 6.1 PD_T_PS_SOURCE_OFF 920",
)
PS_SOURCE_ON = Limit(
    "tPSSourceOn", 390, 435, 480, "ms",
    "PR_Swap: new sink waits for PS_RDY",
    _PD, "Linux 6.1 (390 - 480 ms)",
)
SRC_SWAP_STDBY = Limit(
    "tSrcSwapStdby", None, None, 650, "ms",
    "",
    _PD, "Linux 6.1 comment (maximum of 650 ms)",
)
NEW_SRC = Limit(
    "tNewSrc", None, None, 275, "ms",
    "",
    _PD, "Linux 6.1 comment (maximum of 275 ms)",
)
SWAP_SOURCE_START = Limit(
    "tSwapSourceStart", 20, None, None, "ms",
    "",
    _PD, "Linux 6.1 comment (minimum of 20 ms)",
)
VCONN_SOURCE_ON = Limit(
    "tVCONNSourceOn", None, None, 100, "ms",
    "",
    _PD, "Linux 6.1 100",
)
VCONN_SOURCE_TIMEOUT = Limit(
    "tVCONNSourceTimeout", 100, 150, 200, "ms",
    "",
    _PD, "memory",
)
VDM_SENDER_RESPONSE = Limit(
    "tVDMSenderResponse", 24, 27, 30, "ms",
    "",
    _PD, "memory",
)
VDM_RECEIVER_RESPONSE = Limit(
    "tVDMReceiverResponse", None, None, 15, "ms",
    "",
    _PD, "memory",
)
VDM_MODE_RESPONSE = Limit(
    "tVDMEnterMode, tVDMExitMode", None, None, 25, "ms",
    "a port enters or leaves a mode and answers within this",
    _PD, "memory",
)
VDM_BUSY = Limit(
    "tVDMBusy", 50, None, None, "ms",
    "",
    _PD, "memory",
)
DISCOVER_IDENTITY = Limit(
    "tDiscoverIdentity", 40, 45, 50, "ms",
    "interval between SOP' Discover Identity tries",
    _PD, "memory",
)
CHUNK_SENDER_RESPONSE = Limit(
    "tChunkSenderResponse", 24, 27, 30, "ms",
    "",
    _PD, "memory",
)
CHUNK_RECEIVER_REQUEST = Limit(
    "tChunkReceiverRequest", None, None, 15, "ms",
    "",
    _PD, "memory",
)
CHUNKING_NOT_SUPPORTED = Limit(
    "tChunkingNotSupported", 40, 45, 50, "ms",
    "",
    _PD, "Zephyr 4.0 (40/45/50); Linux 6.1 (40 - 50 ms)",
)
ENTER_EPR = Limit(
    "tEnterEPR", 450, 500, 550, "ms",
    "EPR_Mode Enter to Enter Succeeded",
    _PD, "memory",
)
SINK_EPR_KEEP_ALIVE = Limit(
    "tSinkEPRKeepAlive", 250, 375, 500, "ms",
    "a sink in EPR mode sends something this often",
    _PD, "memory",
)
SOURCE_EPR_KEEP_ALIVE = Limit(
    "tSourceEPRKeepAlive", 750, 875, 1000, "ms",
    "a source in EPR mode resets after this silence",
    _PD, "memory",
)
DATA_RESET = Limit(
    "tDataReset", 200, 225, 250, "ms",
    "",
    _PD, "memory",
)
BIST_CONT_MODE = Limit(
    "tBISTContMode", 30, None, 60, "ms",
    "",
    _PD, "Linux 6.1 (30 - 60 ms)",
)
CC_DEBOUNCE = Limit(
    "tCCDebounce", 100, None, 200, "ms",
    "CC level must hold before attach",
    _TC, "Zephyr 4.0 usbc_tc.h (100/200); Linux 6.1",
)
PD_DEBOUNCE = Limit(
    "tPDDebounce", 10, None, 20, "ms",
    "CC level must hold before detach",
    _TC, "Zephyr 4.0 usbc_tc.h (10/20); Linux 6.1",
)
RP_VALUE_CHANGE = Limit(
    "tRpValueChange", 10, None, 20, "ms",
    "a sink debounces a changed advertisement",
    _TC, "Zephyr 4.0 usbc_tc.h (10/20)",
)
SINK_ADJ = Limit(
    "tSinkAdj", None, None, 60, "ms",
    "a sink adjusts its current to a changed advertisement",
    _TC, "Zephyr 4.0 usbc_tc.h 60",
)
SINK_STANDBY = Limit(
    "tSnkStdby", None, None, 15, "ms",
    "a sink goes to standby within this after Accept, where VBUS goes to another level",
    "USB PD, section 7.2.3 (sink standby)", "memory",
)
VBUS_ON = Limit(
    "tVBUSON", 0, None, 275, "ms",
    "Attached.SRC to VBUS at vSafe5V",
    _TC, "Zephyr 4.0 usbc_tc.h 275",
)
VBUS_OFF = Limit(
    "tVBUSOFF", 0, None, 650, "ms",
    "detach to vSafe0V",
    _TC, "Zephyr 4.0 usbc_tc.h 650",
)

ALL: tuple[Limit, ...] = (
    SENDER_RESPONSE_R2_0,
    SENDER_RESPONSE_R3_1,
    RECEIVER_RESPONSE,
    RECEIVE,
    TRANSMIT,
    TYPE_C_SEND_SOURCE_CAP,
    TYPE_C_SINK_WAIT_CAP,
    FIRST_SOURCE_CAP,
    SRC_TRANSITION,
    SRC_READY,
    PS_TRANSITION_SPR,
    PS_TRANSITION_EPR,
    PS_HARD_RESET,
    HARD_RESET,
    HARD_RESET_COMPLETE,
    SAFE_0V,
    SAFE_5V,
    SRC_RECOVER_SPR,
    SRC_RECOVER_EPR,
    SRC_TURN_ON,
    NO_RESPONSE,
    SOFT_RESET,
    SINK_REQUEST,
    SINK_TX,
    PPS_REQUEST,
    PPS_TIMEOUT,
    PS_SOURCE_OFF,
    PS_SOURCE_ON,
    SRC_SWAP_STDBY,
    NEW_SRC,
    SWAP_SOURCE_START,
    VCONN_SOURCE_ON,
    VCONN_SOURCE_TIMEOUT,
    VDM_SENDER_RESPONSE,
    VDM_RECEIVER_RESPONSE,
    VDM_MODE_RESPONSE,
    VDM_BUSY,
    DISCOVER_IDENTITY,
    CHUNK_SENDER_RESPONSE,
    CHUNK_RECEIVER_REQUEST,
    CHUNKING_NOT_SUPPORTED,
    ENTER_EPR,
    SINK_EPR_KEEP_ALIVE,
    SOURCE_EPR_KEEP_ALIVE,
    DATA_RESET,
    BIST_CONT_MODE,
    CC_DEBOUNCE,
    PD_DEBOUNCE,
    RP_VALUE_CHANGE,
    SINK_ADJ,
    SINK_STANDBY,
    VBUS_ON,
    VBUS_OFF,
)
