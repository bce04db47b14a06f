"""Healthy conversations about everything else: questions, status, vendor messages, the cable, tests, chunks.

Why it is: none of this is about power, and none of it may change a verdict or draw a warning. Codes of messages as in
`words.py`; the sizes of the extended messages and the vendor commands are from memory of the specification.
"""

from __future__ import annotations

from tests.reference import words
from tests.reference.rows import PASS, Book, row
from tests.reference.talk import T_DISCOVER_IDENTITY
from tests.reference.world import CARRIER_S, GAP_S, OTHER, World

HEALTHY_TOPICS: Book = {}
T_VDM_BUSY = (50.2e-3, 90e-3)
#: question, sent as extended data (or None), answer, the size of its data (0: a data message of one object)
QUESTIONS: tuple[tuple[str, bytes | None, str, int], ...] = (
    ("Get_Source_Cap_Extended", None, "Source_Capabilities_Extended", 25),
    ("Get_Sink_Cap_Extended", None, "Sink_Capabilities_Extended", 24),
    ("Get_Status", None, "Status", 7),
    ("Get_PPS_Status", None, "PPS_Status", 4),
    ("Get_Revision", None, "Revision", 0),
    ("Get_Source_Info", None, "Source_Info", 0),
    ("Get_Country_Codes", None, "Country_Codes", 10),
    ("Get_Battery_Cap", b"\x00", "Battery_Capabilities", 9),
    ("Get_Battery_Status", b"\x00", "Battery_Status", 0),
    ("Get_Manufacturer_Info", b"\x00\x00", "Manufacturer_Info", 26),
)  # fmt: skip
#: who may be asked
_OF_SOURCE = {"Get_Source_Cap_Extended", "Get_PPS_Status", "Get_Source_Info"}
_OF_SINK = {"Get_Sink_Cap_Extended"}


def put_question(world: World, asker: str, question: str, sent: bytes | None, lost: str = "") -> None:
    """A question, as control message or as extended data message."""
    if sent is None:
        world.say(asker, question, lost=lost)
    else:
        world.say(asker, question, words.extended_words(sent), lost=lost)


@row(HEALTHY_TOPICS, "questions", PASS, only="R3")
def questions_of_r3x(world: World) -> None:
    """The R3.x questions, answered, or with Not_Supported."""
    kinds = ("pps",) if world.rng.random() < 0.5 else ()
    world.begin(kinds=kinds)
    for _ in range(world.rng.randint(1, 6)):
        world.wait((15e-3, 0.25))
        question, sent, answer, size = world.rng.choice(QUESTIONS)
        asker, other = world.either()
        if question in _OF_SOURCE:
            asker, other = "sink", "source"
        elif question in _OF_SINK:
            asker, other = "source", "sink"
        put_question(world, asker, question, sent, world.rng.choice(("", "", "", "ack", "message")))
        world.responding()
        if world.rng.random() < 0.4:
            world.say(other, "Not_Supported")
        elif size:
            world.say(other, answer, words.extended_words(world.rng.randbytes(size)))
        else:
            value = 0x32000000 if answer == "Revision" else 0x00000000
            world.say(other, answer, [value])


@row(HEALTHY_TOPICS, "questions", PASS)
def capabilities_asked(world: World) -> None:
    """Get_Sink_Cap and, of a dual-role sink, Get_Source_Cap; answered, or refused in the revision's way."""
    world.begin()
    for _ in range(world.rng.randint(1, 4)):
        world.wait((15e-3, 0.25))
        asker, _ = world.either()
        if world.rng.random() < 0.3:
            question = "Get_Sink_Cap" if asker == "sink" else "Get_Source_Cap"
            world.ask(asker, question, world.refusal())
        elif asker == "source":
            wishes = [words.fixed(5000, 900), words.fixed(9000, 2000)]
            world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), wishes)
        else:
            world.say("sink", "Get_Source_Cap")
            world.responding()
            world.offers_again()
            world.settle(world.wish())


@row(HEALTHY_TOPICS, "questions", PASS, only="R3")
def alarms(world: World) -> None:
    """Alert by either port, then Get_Status and Status."""
    world.begin()
    for _ in range(world.rng.randint(1, 3)):
        world.wait((15e-3, 0.25))
        by, other = world.either()
        world.say(by, "Alert", [world.rng.choice((1 << 25, 1 << 27, 1 << 28))])
        if world.rng.random() < 0.8:
            world.wait((2e-3, 40e-3))
            world.say(other, "Get_Status")
            world.responding()
            world.say(by, "Status", words.extended_words(bytes((30, 1, 0, 0, 0, 0, 0))))


@row(HEALTHY_TOPICS, "chunks", PASS, only="R3")
def long_answers_in_chunks(world: World) -> None:
    """Answers of more than 26 bytes, chunk by chunk, with a lost packet now and then."""
    world.begin()
    for _ in range(world.rng.randint(1, 2)):
        world.wait((15e-3, 0.25))
        asker, other = world.either()
        question, answer = world.rng.choice(
            (("Get_Manufacturer_Info", "Manufacturer_Info"), ("Get_Country_Codes", "Country_Codes"))
        )
        put_question(world, asker, question, b"\x00\x00" if question == "Get_Manufacturer_Info" else None)
        world.responding()
        size = world.rng.choice((26, 27, 28, 40, 52, 53, 100))
        world.extended(other, answer, world.rng.randbytes(size), lost_at=world.rng.choice((-1, -1, 0, 1, 2)))


@row(HEALTHY_TOPICS, "vendor", PASS)
def modes_of_the_partner(world: World) -> str:
    """Discover Identity, SVIDs and Modes, Enter Mode, Attention, Exit Mode on SOP, by the DFP."""
    world.begin()
    world.wait((15e-3, 0.25))
    dfp, ufp = world.dfp, OTHER[world.dfp]
    steps = ((0xFF00, 1, 0, (0x6C00FFF1, 0, 0x00010000)), (0xFF00, 2, 0, (0xFFF10000,)), (0xFFF1, 3, 0, (0x00000405,)))
    how = world.rng.choice(("all", "all", "nak", "stops"))
    for svid, command, position, answer in steps:
        world.say(dfp, "Vendor_Defined", world.vendor(svid, command, 0, position=position))
        world.responding()
        if how == "nak":
            world.say(ufp, "Vendor_Defined", world.vendor(svid, command, 2, position=position))
            return how
        world.say(ufp, "Vendor_Defined", world.vendor(svid, command, 1, *answer, position=position))
        if how == "stops":
            return how
        world.wait((1e-3, 60e-3))
    for command in (4, 6, 5):
        sender, other = (ufp, dfp) if command == 6 else (dfp, ufp)
        world.say(sender, "Vendor_Defined", world.vendor(0xFFF1, command, 0, position=1))
        if command != 6:
            world.responding((0.1e-3, 24e-3))  # tVDMEnterMode and tVDMExitMode are 25 ms (from memory)
            world.say(other, "Vendor_Defined", world.vendor(0xFFF1, command, 1, position=1))
        world.wait((5e-3, 60e-3))
    return how


@row(HEALTHY_TOPICS, "vendor", PASS)
def vendor_is_busy(world: World) -> None:
    """BUSY, asked again after tVDMBusy, then the answer."""
    world.begin()
    world.wait((15e-3, 0.25))
    dfp, ufp = world.dfp, OTHER[world.dfp]
    for _ in range(world.rng.randint(1, 3)):
        world.say(dfp, "Vendor_Defined", world.vendor(0xFF00, 1, 0))
        world.responding()
        world.say(ufp, "Vendor_Defined", world.vendor(0xFF00, 1, 3))
        world.wait(T_VDM_BUSY)
    world.say(dfp, "Vendor_Defined", world.vendor(0xFF00, 1, 0))
    world.responding()
    world.say(ufp, "Vendor_Defined", world.vendor(0xFF00, 1, 1, 0x6C00FFF1, 0, 0x00010000))


@row(HEALTHY_TOPICS, "vendor", PASS)
def vendor_not_understood(world: World) -> None:
    """Structured or unstructured vendor messages to a port without them: R2.0 ignores, R3.x says Not_Supported."""
    world.begin()
    for _ in range(world.rng.randint(1, 3)):
        world.wait((15e-3, 0.25))
        by, other = world.dfp, OTHER[world.dfp]
        objects = world.vendor(0xFF00, 1, 0)
        if world.rng.random() < 0.5:
            by, other = world.either()
            objects = [0xFFF1 << 16 | 0x123, 0x12345678]
        world.say(by, "Vendor_Defined", objects)
        if world.r3:
            world.responding()
            world.say(other, "Not_Supported")
        else:
            world.wait((30.5e-3, 60e-3))


@row(HEALTHY_TOPICS, "cable", PASS)
def cable_under_contract(world: World) -> str:
    """The cable is asked under contract: Identity, SVIDs; it answers, refuses, or is silent; SOP'' too."""
    world.begin()
    world.wait((15e-3, 0.25))
    how = world.rng.choice(("answers", "silent", "nak", "busy"))
    if how == "silent":
        world.ask_cable(0)
        return how
    amps = world.rng.choice((3, 5))
    if how == "busy":
        question = world.vendor(0xFF00, 1, 0)
        world.cable_says("source", question, world.vendor(0xFF00, 1, 3))
        world.wait(T_VDM_BUSY)
    world.ask_cable(amps, epr=amps == 5 and world.rng.random() < 0.5)
    world.wait((5e-3, 60e-3))
    answer = world.vendor(0xFF00, 2, 2) if how == "nak" else world.vendor(0xFF00, 2, 1, 0xFFF10000)
    world.cable_says("source", world.vendor(0xFF00, 2, 0), answer)
    chance = world.rng.random()
    world.wait((5e-3, 60e-3))
    if chance < 0.3:
        world.unanswered("source", "Vendor_Defined", world.vendor(0xFF00, 1, 0), sop="SOP''")
    elif chance < 0.5:
        world.cable_says("source", world.vendor(0xFF00, 1, 0), world.vendor(0xFF00, 1, 2), sop="SOP''")
    return how


@row(HEALTHY_TOPICS, "cable", PASS)
def cable_between_offers(world: World) -> None:
    """The device sleeps; between its offers the source asks the cable, which answers at last."""
    world.attach(soon=True)
    made = [words.fixed(5000, 3000), words.fixed(9000, 2000)]
    for _ in range(world.rng.randint(1, 3)):
        world.ask_cable(0)
        world.wait((5e-3, 40e-3))
        world.unanswered("source", "Source_Capabilities", made)
        world.wait((100.5e-3, 120e-3))
    world.ask_cable(3)
    world.wait((5e-3, 30e-3))
    world.offers()
    world.settle(world.wish())


@row(HEALTHY_TOPICS, "cable", PASS)
def soft_reset_of_the_cable(world: World) -> None:
    """Soft_Reset on SOP' after Accept of a VCONN swap or just so; only the cable's counters restart."""
    world.attach(soon=True)
    world.ask_cable(3)
    world.wait((1e-3, 40e-3))
    world.offers()
    world.settle(world.wish())
    world.wait((20e-3, 0.3))
    for key in [key for key in world._ids if key[1] == "SOP'"]:
        del world._ids[key]
    world.say("source", "Soft_Reset", sop="SOP'")
    world.responding()
    packet = world.send("cable", "Accept", sop="SOP'")
    world.good_crc("source", packet)
    world.count_on("cable", "SOP'")
    world.wait(T_DISCOVER_IDENTITY)
    world.ask_cable(3)
    world.wait((20e-3, 0.3))
    world.settle(world.wish())


@row(HEALTHY_TOPICS, "usb", PASS, only="R3")
def enters_usb(world: World) -> str:
    """Enter_USB by the DFP: accepted, rejected, put off, or not known."""
    world.begin()
    world.wait((15e-3, 0.25))
    answer = world.rng.choice(("Accept", "Reject", "Wait", "Not_Supported"))
    world.ask(world.dfp, "Enter_USB", answer, [2 << 28 | 1 << 26])
    if answer == "Wait":
        world.wait((100.5e-3, 0.2))
        world.ask(world.dfp, "Enter_USB", "Accept", [2 << 28 | 1 << 26])
    return answer


@row(HEALTHY_TOPICS, "test", PASS)
def test_data(world: World) -> None:
    """BIST test data under a 5 V contract: acknowledged, nothing more."""
    world.begin(position=1)
    for _ in range(world.rng.randint(1, 4)):
        world.wait((5e-3, 0.1))
        world.say("source", "BIST", [8 << 28, *(world.rng.getrandbits(32) for _ in range(6))])


@row(HEALTHY_TOPICS, "test", PASS)
def test_carrier_at_the_end(world: World) -> None:
    """BIST Carrier Mode under a 5 V contract: the device sends alternating bits for tBISTContMode."""
    world.begin(position=1)
    world.wait((20e-3, 0.2))
    world.say("source", "BIST", [5 << 28])
    length = world.rng.uniform(*CARRIER_S)
    start = world.now + world.rng.uniform(GAP_S, 10e-3)
    world.carriers.append((start, length, world.ports.sink_bps))
    world.now = start + length


@row(HEALTHY_TOPICS, "test", PASS, only="R2")
def pings(world: World) -> None:
    """R2.0's Ping by the source."""
    world.begin()
    for _ in range(world.rng.randint(1, 6)):
        world.wait((2e-3, 0.1))
        world.say("source", "Ping")
