"""What ports talk about once they have a contract: none of it may change a verdict."""

from __future__ import annotations

from collections.abc import Callable

from tests.reference import words
from tests.reference.talk import Talk

R3X = words.R3X


def _refusal(talk: Talk) -> str:
    return "Not_Supported" if talk.ports.common == R3X else "Reject"


def _sink_caps(talk: Talk) -> None:
    rng = talk.rng
    wishes = [words.fixed(5000, 1500, flags=words.HIGHER_CAPABILITY | words.SRC_USB_COMM)]
    wishes += [words.fixed(mv, 1500) for mv in rng.choice(((), (9000,), (9000, 15000), (12000, 20000)))]
    talk.say("source", "Get_Sink_Cap")
    talk.responding()
    talk.say("sink", "Sink_Capabilities", wishes)


def _identity(talk: Talk) -> None:
    version = 1 if talk.ports.common == R3X else 0
    asker, other = talk.rng.choice((("source", "sink"), ("sink", "source")))
    talk.say(asker, "Vendor_Defined", [words.vdm_header(0xFF00, 1, 0, version=version)])
    answer = talk.rng.choice(("ack", "nak", "refused", "silence"))
    if talk.ports.common == words.R20 and answer == "refused":
        answer = "silence"
    if answer == "silence":
        talk.wait((24e-3, 30e-3))
        return
    talk.responding()
    if answer == "ack":
        reply = [words.vdm_header(0xFF00, 1, 1, version=version), 0x6C00FFF1, 0, 0x00010000]
        talk.say(other, "Vendor_Defined", reply)
        talk.wait((2e-3, 40e-3))
        talk.say(asker, "Vendor_Defined", [words.vdm_header(0xFF00, 2, 0, version=version)])
        talk.responding()
        talk.say(other, "Vendor_Defined", [words.vdm_header(0xFF00, 2, 1, version=version), 0xFFF10000])
    elif answer == "nak":
        talk.say(other, "Vendor_Defined", [words.vdm_header(0xFF00, 1, 2, version=version)])
    else:
        talk.say(other, "Not_Supported")


def _data_role(talk: Talk) -> None:
    asker, other = talk.rng.choice((("source", "sink"), ("sink", "source")))
    talk.say(asker, "DR_Swap")
    talk.responding()
    answer = talk.rng.choice(("Accept", "Reject"))
    talk.say(other, answer)
    if answer == "Accept":
        talk.swap_data_roles()


def _vconn(talk: Talk) -> None:
    talk.say("sink", "VCONN_Swap")
    talk.responding()
    answer = talk.rng.choice(("Accept", "Reject", _refusal(talk)))
    talk.say("source", answer)
    if answer == "Accept":
        talk.wait((5e-3, 90e-3))
        talk.say("sink", "PS_RDY")


def _power_role(talk: Talk) -> None:
    asker, other = talk.rng.choice((("source", "sink"), ("sink", "source")))
    talk.say(asker, "PR_Swap")
    talk.responding()
    talk.say(other, talk.rng.choice(("Reject", _refusal(talk))))


def _status(talk: Talk) -> None:
    rng = talk.rng
    if talk.ports.common == words.R20:
        for _ in range(rng.randint(1, 4)):
            talk.say("source", "Ping")
            talk.wait((2e-3, 50e-3))
        return
    if rng.random() < 0.5:
        talk.say("source", "Alert", [rng.choice((1 << 25, 1 << 28, 1 << 29)) | 0x00000000])
        talk.responding()
    talk.say("sink", "Get_Status")
    talk.responding()
    if rng.random() < 0.5:
        talk.say("source", "Not_Supported")
    else:
        talk.say("source", "Status", words.extended_words(bytes((30, 1, 0, 0, 0, 0))))


def _questions(talk: Talk) -> None:
    if talk.ports.common == words.R20:
        _sink_caps(talk)
        return
    question = talk.rng.choice(("Get_Source_Cap_Extended", "Get_Country_Codes", "Get_Revision", "Get_Source_Info"))
    talk.say("sink", question)
    talk.responding()
    talk.say("source", "Not_Supported")


TOPICS: tuple[Callable[[Talk], None], ...] = (
    _sink_caps, _identity, _data_role, _vconn, _power_role, _status, _questions,
)  # fmt: skip
