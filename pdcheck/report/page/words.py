"""What a message does, in plain words.

Why it is: the specification's names stand in the page, but nobody should need them to follow it.
"""

from __future__ import annotations

from pdcheck.conversation.model import Ending, Exchange, Party, Silence, Transmission
from pdcheck.messages import title
from pdcheck.report.as_text import object_words

LANES = (Party.SOURCE, Party.SINK, Party.CABLE)
PARTY_WORDS = {
    Party.SOURCE: "charger", Party.SINK: "device", Party.CABLE: "cable", Party.UNKNOWN: "unknown sender",
}

#: Message names to what the sender does; a name that is not here stands for itself.
DOES = {
    "Source_Capabilities": "offers power", "EPR_Source_Capabilities": "offers power", "Request": "asks for power",
    "EPR_Request": "asks for power", "Accept": "accepts", "Reject": "refuses", "Wait": "asks to wait",
    "PS_RDY": "says that the power is ready", "Soft_Reset": "starts the talk again",
    "Get_Source_Cap": "asks for the offer", "Get_Sink_Cap": "asks what the device needs",
    "Sink_Capabilities": "says what the device needs", "Not_Supported": "does not know that message",
    "Hard Reset": "resets both sides: VBUS goes off", "Cable Reset": "resets the cable",
    "DR_Swap": "wants to swap the data roles", "PR_Swap": "wants to swap the power roles",
    "VCONN_Swap": "wants to swap who feeds the cable's chip", "Ping": "pings", "GotoMin": "tells to draw less",
    "Alert": "raises an alert", "Vendor_Defined": "sends a vendor message",
    "GoodCRC": "acknowledges", "EPR_Mode": "speaks of extended power", "Data_Reset": "resets the data connection",
}

ENDED_BY = {
    Ending.READY: "PS_RDY", Ending.REJECT: "Reject", Ending.WAIT: "Wait", Ending.HARD_RESET: "a Hard Reset",
    Ending.SOFT_RESET: "a Soft_Reset", Ending.REPLACED: "a new offer", Ending.CAPTURE_END: "the end of the capture",
}


def packet_name(one: Transmission) -> str:
    """A packet's name in a page; what could not be read whole is called a broken packet."""
    return "a broken packet" if one.packet.problem is not None else one.name


def does(exchange: Exchange) -> str:
    """What a message does, in plain words; empty where its name says it."""
    if exchange.name == "Vendor_Defined" and exchange.sop.to_cable:
        return "answers for the cable" if exchange.sender is Party.CABLE else "asks the cable"
    return DOES.get(exchange.name, "")


def gist(exchange: Exchange) -> str:
    """What a message says, in a line; empty where its name says it all."""
    message = exchange.message
    if message.name == "Vendor_Defined" or not message.objects:
        said = title(message)
        return said.removeprefix(message.name).removeprefix(": ")
    return "; ".join(object_words(one) for one in message.objects)


def heard(exchange: Exchange) -> tuple[str, str]:
    """Whether a message was acknowledged: ``"yes"``, ``"no"`` or ``"unknown"``, and the words for it."""
    tries = len(exchange.transmissions)
    often = f", on try {tries}" if tries > 1 else ""
    if exchange.acknowledged:
        return "yes", f"acknowledged{often}"
    if exchange.acknowledged is False:
        if exchange.wrong_ids:
            wrong = ", ".join(str(n) for n in dict.fromkeys(exchange.wrong_ids))
            return "no", f"acknowledged with another number ({wrong} for {exchange.message.header.message_id})"
        return "no", "not acknowledged"
    reason = {
        Silence.UNREADABLE: "the capture cannot read what followed", Silence.CAPTURE_ENDS: "the capture ends",
        Silence.NOT_SHOWN: "this capture shows none of the receiver's acknowledgements",
    }
    words = next((reason[s] for s in reversed(exchange.silences) if s in reason), "not known")
    return "unknown", f"acknowledged or not: {words}"
