"""Which message asks for which answer, and how long both sides have for it.

Why it is: "who owed the next message" is the question on which a fault is argued; it is answered from this table and
not from memory in each rule.

The pairs are those of the message sequences of USB PD, section 8.3.2, and of the messages' own sections in 6.3 to 6.5
(from memory; the policy engines of Linux 6.1 tcpm.c pair the control messages in the same way). A question is named
as :func:`pdcheck.conversation.questions.topic` names an exchange.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.standard import timers
from pdcheck.standard.limit import Limit

REFERENCE = "USB PD, sections 6.3 to 6.5 (messages) and 8.3.2 (message sequences)"
#: The request for the next part of a long message, and that part.
CHUNK_REQUEST, CHUNK = "chunk request", "chunk"
#: A structured vendor request (but Attention, which nobody answers), and ACK, NAK or BUSY to it.
VENDOR_REQUEST, VENDOR_ANSWER = "Vendor_Defined request", "Vendor_Defined answer"
#: A vendor request to enter or leave a mode, which takes longer.
MODE_REQUEST = "Vendor_Defined mode request"


@dataclass(frozen=True)
class Dialogue:
    """A question and its answers. ``window``: within which the answer must begin; ``patience``: when the asker gives
    up. ``may_be_silent``: True where a port that does not know the question may leave it unanswered."""

    question: str
    answers: frozenset[str]
    window: Limit = timers.RECEIVER_RESPONSE
    patience: Limit = timers.SENDER_RESPONSE_R2_0
    may_be_silent: bool = False
    refusal: Limit | None = None

    def window_of(self, answer: str) -> Limit:
        """Within which an answer must begin: a port that does not know long messages waits before it says so."""
        return self.refusal if self.refusal is not None and answer == "Not_Supported" else self.window


def _answered(question: str, *answers: str) -> Dialogue:
    return Dialogue(question, frozenset(answers))


def _got(question: str, answer: str) -> Dialogue:
    # A port that does not have the thing says Not_Supported, and Reject before R3.0.
    return _answered(question, answer, "Not_Supported", "Reject")


DIALOGUES: dict[str, Dialogue] = {d.question: d for d in (
    _answered("Source_Capabilities", "Request"),
    _answered("EPR_Source_Capabilities", "EPR_Request"),
    _answered("Request", "Accept", "Reject", "Wait"),
    _answered("EPR_Request", "Accept", "Reject", "Wait"),
    _answered("Soft_Reset", "Accept"),
    _answered("Data_Reset", "Accept", "Reject", "Not_Supported"),
    _answered("DR_Swap", "Accept", "Reject", "Wait", "Not_Supported"),
    _answered("PR_Swap", "Accept", "Reject", "Wait", "Not_Supported"),
    _answered("VCONN_Swap", "Accept", "Reject", "Wait", "Not_Supported"),
    _answered("FR_Swap", "Accept"),
    _answered("Enter_USB", "Accept", "Reject", "Wait", "Not_Supported"),
    _answered("EPR_Mode Enter", "EPR_Mode Enter_Acknowledged", "EPR_Mode Enter_Failed", "Not_Supported"),
    _answered("EPR_KeepAlive", "EPR_KeepAlive_Ack", "Not_Supported"),
    _got("EPR_Get_Source_Cap", "EPR_Source_Capabilities"),
    _got("EPR_Get_Sink_Cap", "EPR_Sink_Capabilities"),
    _got("Get_Source_Cap", "Source_Capabilities"),
    _got("Get_Sink_Cap", "Sink_Capabilities"),
    _got("Get_Source_Cap_Extended", "Source_Capabilities_Extended"),
    _got("Get_Sink_Cap_Extended", "Sink_Capabilities_Extended"),
    _got("Get_Status", "Status"),
    _got("Get_PPS_Status", "PPS_Status"),
    _got("Get_Country_Codes", "Country_Codes"),
    _got("Get_Country_Info", "Country_Info"),
    _got("Get_Source_Info", "Source_Info"),
    _got("Get_Revision", "Revision"),
    _got("Get_Battery_Cap", "Battery_Capabilities"),
    _got("Get_Battery_Status", "Battery_Status"),
    _got("Get_Manufacturer_Info", "Manufacturer_Info"),
    Dialogue(CHUNK_REQUEST, frozenset({CHUNK, "Not_Supported"}), timers.RECEIVER_RESPONSE,
             timers.CHUNK_SENDER_RESPONSE),
    Dialogue(CHUNK, frozenset({CHUNK_REQUEST, "Not_Supported"}), timers.CHUNK_RECEIVER_REQUEST,
             timers.CHUNK_SENDER_RESPONSE, refusal=timers.CHUNKING_NOT_SUPPORTED),
    # In R2.0 a port without vendor messages stays silent; vendors may refuse theirs in ways of their own.
    Dialogue(VENDOR_REQUEST, frozenset({VENDOR_ANSWER, "Not_Supported"}), timers.VDM_RECEIVER_RESPONSE,
             timers.VDM_SENDER_RESPONSE, may_be_silent=True),
    Dialogue(MODE_REQUEST, frozenset({VENDOR_ANSWER, "Not_Supported"}), timers.VDM_MODE_RESPONSE,
             timers.VDM_SENDER_RESPONSE, may_be_silent=True),
)}

#: After so long (seconds, the name of the timer) a port that was told to wait may ask again, by what it asked for.
ASK_AGAIN: dict[str, Limit] = {
    "Request": timers.SINK_REQUEST, "EPR_Request": timers.SINK_REQUEST, VENDOR_REQUEST: timers.VDM_BUSY,
}
