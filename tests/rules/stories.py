"""What is said in the smallest conversations: a story takes the talk and the value that makes it good or bad.

The numbers on both sides of each limit are those of the specification's timer table (compared with Zephyr 4.0's
usbc_pd.h or Linux 6.1's pd.h where they have them, from memory otherwise); the words are packed by
`tests/reference/words.py`, which shares no code with the checker.
"""

from __future__ import annotations

from typing import Any

from tests.reference import words
from tests.reference.talk import Talk

FIVE = words.fixed(5000, 3000)
NINE = words.fixed(9000, 2000)
PPS = words.pps(3300, 11000, 3000)


# --- pieces


def offer(talk: Talk, objects: tuple[int, ...] = (FIVE, NINE), **how: Any) -> None:
    talk.say("source", "Source_Capabilities", objects, **how)


def granted(talk: Talk, *, accept_s: float = 5e-3, ready_s: float = 100e-3, volts: float = 5.0) -> None:
    talk.now += accept_s
    talk.say("source", "Accept")
    if volts != talk.volts:
        talk.move_vbus(volts, talk.now + ready_s * 0.3, talk.now + ready_s * 0.6)
    talk.now += ready_s
    talk.say("source", "PS_RDY")


def contract(talk: Talk, position: int = 1, objects: tuple[int, ...] = (FIVE, NINE)) -> None:
    offer(talk, objects)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(position, 1000, 1000)])
    granted(talk, volts=9.0 if position == 2 else 5.0)
    talk.now += 0.1


def epr(talk: Talk, *, enter_s: float = 100e-3) -> None:
    contract(talk)
    talk.say("sink", "EPR_Mode", [words.epr_mode(1, 140)])
    talk.responding()
    talk.say("source", "EPR_Mode", [words.epr_mode(2)])
    talk.now += enter_s
    talk.say("source", "EPR_Mode", [words.epr_mode(3)])


def epr_offer(talk: Talk, objects: tuple[int, ...] = (FIVE, NINE, 0, 0, 0, 0, 0, words.fixed(28000, 5000))) -> None:
    data = b"".join(word.to_bytes(4, "little") for word in objects)
    kind = "EPR_Source_Capabilities"
    talk.responding()
    talk.say("source", kind, words.extended_words(data[:26], size=len(data)))
    talk.responding()
    talk.say("sink", kind, words.extended_words(b"", chunk=1, asking=True))
    talk.responding()
    talk.say("source", kind, words.extended_words(data[26:], size=len(data), chunk=1))


def epr_contract(talk: Talk, copy: int = words.fixed(28000, 5000)) -> None:
    epr(talk)
    epr_offer(talk)
    talk.responding()
    talk.say("sink", "EPR_Request", [words.request_fixed(8, 3000, 3000), copy])
    granted(talk, volts=28.0)


def keep_alive(talk: Talk, *, answered: bool = True) -> None:
    talk.say("sink", "Extended_Control", words.extended_words(bytes((3, 0))))
    if answered:
        talk.responding()
        talk.say("source", "Extended_Control", words.extended_words(bytes((4, 0))))


def ask_cable(talk: Talk, answer: str) -> None:
    question = [words.vdm_header(0xFF00, 1, 0, version=1)]
    if answer == "silence":
        talk.unanswered("source", "Vendor_Defined", question, sop="SOP'")
    elif answer != "not asked":
        talk.say("source", "Vendor_Defined", question, sop="SOP'")
        talk.responding()
        amps = 3 if answer == "3 A" else 5
        talk.say("cable", "Vendor_Defined", words.marked_cable(1, amps=amps, epr=answer == "EPR"), sop="SOP'")
    talk.now += 20e-3


# --- answers and their windows


def request_after(talk: Talk, after_s: float) -> None:
    offer(talk)
    talk.now += after_s
    talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
    granted(talk)


def accept_after(talk: Talk, after_s: float) -> None:
    offer(talk)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
    granted(talk, accept_s=after_s)


def status_after(talk: Talk, after_s: float) -> None:
    contract(talk)
    talk.say("sink", "Get_Status")
    talk.now += after_s
    talk.say("source", "Not_Supported")


def cable_after(talk: Talk, after_s: float) -> None:
    talk.say("source", "Vendor_Defined", [words.vdm_header(0xFF00, 1, 0, version=1)], sop="SOP'")
    talk.now += after_s
    talk.say("cable", "Vendor_Defined", words.cable_identity(1, False), sop="SOP'")
    talk.now += 20e-3
    contract(talk)


def swap_left_alone(talk: Talk, asker: str) -> None:
    contract(talk)
    other = "sink" if asker == "source" else "source"
    talk.say(asker, "DR_Swap")
    talk.now += 50e-3
    talk.say(other, "Get_Sink_Cap" if other == "source" else "Get_Source_Cap")
    talk.responding()
    talk.say(asker, "Not_Supported")


def swap_cut_short(talk: Talk, after_s: float) -> None:
    """The other side speaks of something else at once, as it may when both begin together."""
    contract(talk)
    talk.say("source", "DR_Swap")
    talk.now += after_s
    talk.say("source", "Get_Sink_Cap")
    talk.responding()
    talk.say("sink", "Not_Supported")


def again_after_wait(talk: Talk, after_s: float) -> None:
    offer(talk)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
    talk.responding()
    talk.say("source", "Wait")
    talk.now += after_s
    talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
    granted(talk)


def again_after_busy(talk: Talk, after_s: float) -> None:
    contract(talk)
    for command_type in (3, 1):
        talk.say("source", "Vendor_Defined", [words.vdm_header(0xFF00, 2, 0, version=1)])
        talk.responding()
        talk.say("sink", "Vendor_Defined", [words.vdm_header(0xFF00, 2, command_type, version=1)])
        talk.now += after_s


# --- ready


def ready_after(talk: Talk, after_s: float) -> None:
    offer(talk)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(2, 1000, 1000)])
    granted(talk, ready_s=after_s, volts=9.0)


def ready_at_once(talk: Talk, position: int) -> None:
    """Ready 10 ms after Accept: right where the voltage stays, wrong where it changes."""
    offer(talk)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(position, 1000, 1000)])
    granted(talk, ready_s=10e-3, volts=9.0 if position == 2 else 5.0)


# --- offers


def offered(talk: Talk, objects: tuple[int, ...]) -> None:
    contract(talk, 1, objects)


def offered_in_epr(talk: Talk, last: int) -> None:
    epr(talk)
    epr_offer(talk, (FIVE, NINE, 0, 0, 0, 0, 0, last))


def offer_repeated_after(talk: Talk, after_s: float) -> None:
    for _ in range(3):
        talk.unanswered("source", "Source_Capabilities", (FIVE, NINE))
        talk.now += after_s
    contract(talk)


def epr_offer_while(talk: Talk, mode: str) -> None:
    if mode == "in EPR mode":
        epr(talk)
    else:
        contract(talk)
        if mode == "asked for":
            talk.say("sink", "Extended_Control", words.extended_words(bytes((1, 0))))
    epr_offer(talk)


# --- requests


def asked_for(talk: Talk, milliamps: int) -> None:
    offer(talk)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(2, milliamps, milliamps)])
    granted(talk, volts=9.0)


def asked_with_copy(talk: Talk, copy: int) -> None:
    epr_contract(talk, copy)
    for _ in range(2):
        talk.now += 0.3
        keep_alive(talk)


# --- counting


def numbered(talk: Talk, number: int) -> None:
    """The sink's first message after its Request bears this number in place of 1."""
    contract(talk)
    talk.send("sink", "Get_Status", message_id=number)
    talk.good_crc("source", talk.packets[-1])
    talk.now += 50e-3
    talk.send("source", "Get_Sink_Cap", message_id=3)
    talk.good_crc("sink", talk.packets[-1])
    talk.responding()
    talk.send("sink", "Not_Supported", message_id=(number + 1) % 8)
    talk.good_crc("source", talk.packets[-1])


def asked_again_with_number(talk: Talk, number: int) -> None:
    """Wait; then a Request with the number of the first one (0) is taken for a repeat, and nothing comes of it."""
    for _ in range(2):
        offer(talk)
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
        talk.responding()
        talk.say("source", "Wait")
        talk.now += 0.12
        talk.send("sink", "Request", [words.request_fixed(1, 1000, 1000)], message_id=number)
        talk.good_crc("source", talk.packets[-1])
        talk.now += 28e-3
        talk.hard_reset("sink")


def number_after_reset(talk: Talk, number: int) -> None:
    contract(talk)
    talk.hard_reset("sink")
    offer(talk)
    talk.responding()
    talk.send("sink", "Request", [words.request_fixed(1, 1000, 1000)], message_id=number)
    talk.good_crc("source", talk.packets[-1])
    granted(talk)


def number_of_soft_reset(talk: Talk, number: int) -> None:
    contract(talk)
    talk.restart_ids()
    talk.send("source", "Soft_Reset", message_id=number)
    talk.good_crc("sink", talk.packets[-1])
    talk.count_on("source")
    talk.responding()
    talk.say("sink", "Accept")
    talk.now += 20e-3
    contract(talk)


def retried(talk: Talk, retries: int) -> None:
    offer(talk, lost="no ack", tries_lost=retries)
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
    granted(talk)


def acknowledged_after(talk: Talk, after_s: float) -> None:
    contract(talk)
    for _ in range(3):
        talk.transmit = (after_s, after_s)
        talk.say("source", "Get_Sink_Cap")
        talk.transmit = (60e-6, 60e-6)
        talk.responding()
        talk.say("sink", "Sink_Capabilities", [FIVE])
        talk.now += 50e-3


def acknowledged_as(talk: Talk, by: str) -> None:
    """GoodCRCs for the source's messages with the role bit of `by`."""
    contract(talk)
    for _ in range(3):
        packet = talk.send("source", "Ping" if talk.ports.common == words.R20 else "Get_Sink_Cap")
        talk.good_crc(by, packet)
        talk.count_on("source")
        talk.responding()
        talk.say("sink", "Not_Supported" if talk.ports.common != words.R20 else "Get_Source_Cap")
        talk.now += 50e-3


def acknowledged_on(talk: Talk, sop: str) -> None:
    """GoodCRCs for the source's offers on this SOP."""
    for _ in range(3):
        packet = talk.send("source", "Source_Capabilities", (FIVE, NINE))
        talk.transmit = (60e-6, 60e-6)
        talk.now += 60e-6
        talk.send("sink", "GoodCRC", sop=sop, message_id=packet.payload[1] >> 1 & 7)
        talk.now += 150e-3
        talk.count_on("source")


# --- keep-alive


def renewed_after(talk: Talk, after_s: float) -> None:
    offer(talk, (FIVE, NINE, PPS))
    ask = words.request_pps(3, 5000, 1000)
    talk.responding()
    talk.say("sink", "Request", [ask])
    granted(talk, ready_s=20e-3)
    for _ in range(2):
        talk.now += after_s
        talk.say("sink", "Request", [ask])
        granted(talk, ready_s=20e-3)


def alive_after(talk: Talk, after_s: float) -> None:
    epr_contract(talk)
    for _ in range(3):
        talk.now += after_s
        keep_alive(talk)


def reset_after_silence(talk: Talk, after_s: float) -> None:
    epr_contract(talk)
    talk.now += 0.3
    keep_alive(talk)
    talk.now += after_s
    talk.hard_reset("source")
    contract(talk)


def keep_alive_left(talk: Talk, answered: bool) -> None:
    epr_contract(talk)
    talk.now += 0.3
    keep_alive(talk, answered=answered)
    talk.now += 28e-3
    talk.hard_reset("sink")
    contract(talk)


def enters_after(talk: Talk, after_s: float) -> None:
    """The device gives up after this long if entry has not succeeded by then, and resets."""
    contract(talk)
    talk.say("sink", "EPR_Mode", [words.epr_mode(1, 140)])
    talk.responding()
    talk.say("source", "EPR_Mode", [words.epr_mode(2)])
    if after_s < 0.5:
        talk.now += after_s
        talk.say("source", "EPR_Mode", [words.epr_mode(3)])
        epr_offer(talk)
    else:
        talk.now += after_s
        talk.hard_reset("sink")
        contract(talk)


def entry_refused(talk: Talk, cause: int) -> None:
    contract(talk)
    talk.say("sink", "EPR_Mode", [words.epr_mode(1, 140)])
    talk.responding()
    talk.say("source", "EPR_Mode", [words.epr_mode(4, cause) if cause else words.epr_mode(2)])
    if not cause:
        talk.now += 0.1
        talk.say("source", "EPR_Mode", [words.epr_mode(3)])
        epr_offer(talk)


# --- resets


def soft_reset_by_source(talk: Talk, answered: bool) -> None:
    for _ in range(2):
        talk.restart_ids()
        talk.say("source", "Soft_Reset")
        if answered:
            talk.responding()
            talk.say("sink", "Accept")
            talk.now += 20e-3
            contract(talk)
            return
        talk.now += 28e-3
        talk.hard_reset("source")


def soft_reset_by_sink(talk: Talk, answered: bool) -> None:
    contract(talk)
    talk.restart_ids()
    talk.say("sink", "Soft_Reset")
    if answered:
        talk.responding()
        talk.say("source", "Accept")
        talk.now += 20e-3
        contract(talk)
        return
    talk.now += 28e-3
    talk.hard_reset("sink", back=False)
    talk.now += 5.0


def resets(talk: Talk, number: int) -> None:
    for _ in range(number):
        talk.hard_reset("source")
    contract(talk)


def contract_gone(talk: Talk, comes_back: bool) -> None:
    contract(talk)
    talk.hard_reset("source")
    if comes_back:
        contract(talk)
    else:
        talk.now += 5.0


def unanswered_in_contract(talk: Talk, answered: bool) -> None:
    """A Request under contract that the source leaves, a reset, and a new contract."""
    contract(talk)
    talk.say("sink", "Request", [words.request_fixed(2, 1000, 1000)])
    if answered:
        granted(talk, volts=9.0)
    else:
        talk.now += 28e-3
        talk.hard_reset("sink")
        contract(talk)


# --- roles


def power_swap(talk: Talk, handed_over: int) -> None:
    """0: the old source never says ready; 1: the new one does not; 2: both do, and the new source offers."""
    contract(talk)
    talk.say("sink", "PR_Swap")
    talk.responding()
    talk.say("source", "Accept")
    talk.move_vbus(0.0, talk.now + 50e-3, talk.now + 0.2)
    if handed_over > 0:
        talk.now += 0.3
        _as_other(talk, "source", "PS_RDY")
    if handed_over > 1:
        talk.now += 0.2
        talk.move_vbus(5.0, talk.now - 0.1, talk.now - 0.05)
        _as_other(talk, "sink", "PS_RDY")
        talk.now += 0.1
        _as_other(talk, "sink", "Source_Capabilities", [FIVE])
        talk.responding()
        _as_other(talk, "source", "Request", [words.request_fixed(1, 500, 500)])
        talk.responding()
        _as_other(talk, "sink", "Accept")
        talk.now += 0.1
        _as_other(talk, "sink", "PS_RDY")
    else:
        talk.now += 1.0 if handed_over == 0 else 0.5
        talk.hard_reset("sink" if handed_over == 0 else "source", back=False)
        talk.now += 5.0


def _as_other(talk: Talk, port: str, kind: str, objects: list[int] | None = None) -> None:
    """A message of a port in its role after the swap, with its own MessageID."""
    role = "sink" if port == "source" else "source"
    packet = talk.send(role, kind, objects or [], message_id=talk.next_id(port))
    talk.count_on(port)
    talk.good_crc(port, packet)


def vconn_swap(talk: Talk, handed_over: bool) -> None:
    contract(talk)
    talk.say("source", "VCONN_Swap")
    talk.responding()
    talk.say("sink", "Accept")
    if handed_over:
        talk.now += 50e-3
        talk.say("sink", "PS_RDY")
    else:
        talk.now += 150e-3
        talk.hard_reset("source")
        contract(talk)


def data_swap(talk: Talk, both: bool) -> None:
    contract(talk)
    talk.say("sink", "DR_Swap")
    talk.responding()
    talk.say("source", "Accept")
    talk.now += 50e-3
    if both:
        talk.swap_data_roles()
    talk.say("source", "Get_Sink_Cap")
    talk.swap_data_roles() if not both else None
    talk.responding()
    talk.say("sink", "Not_Supported")


# --- revision and vendors


def newer_message(talk: Talk, kind: str) -> None:
    contract(talk)
    talk.say("source", kind)
    talk.responding()
    talk.say("sink", "Sink_Capabilities" if kind == "Get_Sink_Cap" else "Reject",
             [FIVE] if kind == "Get_Sink_Cap" else [])


def vendor_talk(talk: Talk, when: str) -> None:
    question = [words.vdm_header(0xFF00, 1, 0, version=1)]

    def ask() -> None:
        talk.say("sink", "Vendor_Defined", question)
        talk.responding()
        talk.say("source", "Not_Supported")
        talk.now += 20e-3

    if when == "before":
        offer(talk)
        talk.responding()
        ask()
    contract(talk)
    if when == "after":
        ask()


# --- cable


def five_amps_through(talk: Talk, cable: str) -> None:
    ask_cable(talk, cable)
    contract(talk, 1, (FIVE, words.fixed(20000, 5000)))


def epr_through(talk: Talk, cable: str) -> None:
    ask_cable(talk, cable)
    epr(talk)
    epr_offer(talk)
