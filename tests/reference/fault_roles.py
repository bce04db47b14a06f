"""Faults of resets, swaps of roles, EPR entry and chunks.

Why it is: each of these hand-shakes has a moment at which the other side owes the next step. Who owed what: after a
Hard Reset the source VBUS off and on again and then an offer; in a PR_Swap each side its PS_RDY (the device that was
attached as sink is called "sink" here all the way); the new VCONN source its PS_RDY; in EPR entry the source each
EPR_Mode and the offer, the sender of a chunked message the next chunk, its receiver the request for it. Windows: Linux
6.1's PD_T_PS_SOURCE_OFF, PD_T_PS_SOURCE_ON and its neighbours; tEnterEPR and the chunk times from memory.
"""

from __future__ import annotations

from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.healthy_epr import epr_ready
from tests.reference.healthy_roles import says_off
from tests.reference.offers import offer_words
from tests.reference.rows import Book, failed, row, warned
from tests.reference.talk import T_SINK_WAIT_CAP
from tests.reference.world import World

FAULT_ROLES: Book = {}


def _all_well(world: World) -> None:
    world.offers()
    world.settle(world.wish())


# --- Hard Reset


@row(FAULT_ROLES, "hard reset", warned("source"), vbus=True)
def vbus_does_not_fall(world: World) -> None:
    """After the sink's Hard Reset VBUS stays where it is for over a second; then a new offer and contract."""
    world.begin(position=1)
    world.wait((0.1, 0.5))
    level, mark = world.volts, len(world.vbus)
    world.hard_reset("sink", back=False)
    del world.vbus[mark:]
    world.volts = level
    world.now = world._back_s + world.rng.uniform(50e-3, 300e-3)
    _all_well(world)


@row(FAULT_ROLES, "hard reset", Expect(("fail", "inconclusive"), (), ("source", "capture", None)), vbus=True)
def vbus_does_not_return(world: World) -> None:
    """After the sink's Hard Reset VBUS falls and never returns (a plug pulled at that moment would look the same)."""
    world.begin()
    world.wait((0.1, 0.5))
    world.hard_reset("sink", back=False)
    world.now = world._back_s + world.rng.uniform(2.0, 5.0)


@row(FAULT_ROLES, "hard reset", failed("offer", "source"), vbus=True, apart=True)
def no_offer_after_reset(world: World) -> None:
    """After Hard Resets by the sink VBUS is back each time, and no offer comes."""
    world.begin()
    world.wait((0.1, 0.5))
    for _ in range(3):
        world.hard_reset("sink")
        world.now = world.vbus[-1][0] + world.rng.uniform(*T_SINK_WAIT_CAP)
    world.wait((0.5, 2.0))


@row(FAULT_ROLES, "hard reset", Expect(("fail", "inconclusive", "pass"), (), (None, "source", "capture")), apart=True)
def source_resets_every_contract(world: World) -> None:
    """A contract each time, and the source resets soon after it: its reasons are not on the line."""
    world.attach()
    turns = world.rng.randint(3, 5)
    for turn in range(turns):
        _all_well(world)
        world.wait((0.05, 0.4))
        world.hard_reset("source", back=turn < turns - 1)


@row(FAULT_ROLES, "hard reset", Expect(("fail", "inconclusive", "pass"), (), (None, "sink", "capture")), apart=True)
def sink_resets_every_contract(world: World) -> None:
    """A contract each time, and the sink resets soon after it: its reasons are not on the line."""
    world.attach()
    turns = world.rng.randint(3, 5)
    for turn in range(turns):
        _all_well(world)
        world.wait((0.05, 0.4))
        world.hard_reset("sink", back=turn < turns - 1)


# --- swaps


def _swap_begins(world: World) -> float:
    world.begin()
    world.wait((50e-3, 0.4))
    by, _ = world.either()
    world.ask(by, "PR_Swap", "Accept")
    return world.now


def _starts_anew(world: World) -> None:
    """ErrorRecovery: both let go of CC, VBUS is off, and everything begins again in the first roles."""
    world.move_vbus(0.0, world.now, world.now + 50e-3)
    world.now = world.vbus[-1][0] + world.rng.uniform(0.3, 0.6)
    world.restart_ids()
    world.met, world.settled, world.source_bit5, world.vconn = False, None, 1, "source"
    world.begin()


@row(FAULT_ROLES, "swaps", Expect(("fail", "inconclusive"), (), ("source", None, "capture")))
def old_source_never_off(world: World) -> None:
    """PR_Swap accepted, and no PS_RDY by the old source; after tPSSourceOff nothing more."""
    _swap_begins(world)
    world.draw(0.0, world.now + 10e-3)
    world.wait((1.5, 3.0))


@row(FAULT_ROLES, "swaps", warned("source"))
def old_source_never_off_then_well(world: World) -> None:
    """The same, and after the device's ErrorRecovery all begins anew and goes well."""
    _swap_begins(world)
    world.draw(0.0, world.now + 10e-3)
    world.wait((0.75, 0.92))
    _starts_anew(world)


@row(FAULT_ROLES, "swaps", Expect(("fail", "inconclusive"), (), ("sink", None, "capture")))
def new_source_never_on(world: World) -> None:
    """The old source lets go and says so; the device never takes over; silence."""
    accepted = _swap_begins(world)
    world.draw(0.0, world.now + 10e-3)
    world.move_vbus(0.0, accepted + 30e-3, accepted + 150e-3)
    world.now = accepted + world.rng.uniform(160e-3, 500e-3)
    says_off(world)
    world.wait((1.5, 3.0))


@row(FAULT_ROLES, "swaps", warned("sink"), apart=True)
def vconn_never_on(world: World) -> None:
    """VCONN_Swap accepted, and the device as new VCONN source never says PS_RDY; Hard Reset; then all is well."""
    world.begin()
    world.wait((50e-3, 0.4))
    world.ask(world.either()[0], "VCONN_Swap", "Accept")
    world.wait((0.101, 0.199))
    world.hard_reset("source")
    _all_well(world)


@row(FAULT_ROLES, "swaps", Expect(("pass",), (None,), (None,), (), ("source", "sink")))
def dr_swap_accepted_and_forgotten(world: World) -> None:
    """DR_Swap accepted, and one side goes on with its old data role: both say host, or both say device."""
    world.begin()
    world.wait((50e-3, 0.4))
    by, other = world.either()
    world.ask(by, "DR_Swap", "Accept")
    normal = world._roles
    who = world.rng.choice((by, other))

    def roles(sender: str, sop: str) -> tuple[int, int]:
        bit8, bit5 = normal(sender, sop)
        return (bit8, bit5 ^ 1) if sop == "SOP" and sender != who else (bit8, bit5)

    world._roles = roles  # type: ignore[method-assign]
    for _ in range(3):
        world.wait((50e-3, 0.3))
        world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), [words.fixed(5000, 900)])


# --- EPR entry


def _enters(world: World, *, acknowledged: bool = True) -> None:
    watts = epr_ready(world)
    world.say("sink", "EPR_Mode", [words.epr_mode(1, watts)])
    if acknowledged:
        world.responding()
        world.say("source", "EPR_Mode", [words.epr_mode(2)])


def _back_to_spr(world: World) -> None:
    world.reset_soft("sink")
    world.wait((2e-3, 100e-3))
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))


@row(FAULT_ROLES, "epr", warned("source"), only="R3")
def epr_never_succeeds(world: World) -> None:
    """Acknowledged, and neither Succeeded nor Failed within tEnterEPR; Soft_Reset, SPR contract."""
    _enters(world)
    world.wait((0.501, 0.549))
    _back_to_spr(world)


@row(FAULT_ROLES, "epr", warned("source"), only="R3")
def epr_entry_not_answered(world: World) -> None:
    """EPR_Mode Enter is acknowledged by GoodCRC only; Soft_Reset, SPR contract."""
    _enters(world, acknowledged=False)
    world.wait((0.04, 0.2))
    _back_to_spr(world)


@row(FAULT_ROLES, "epr", warned("source"), only="R3")
def epr_offer_never_comes(world: World) -> None:
    """Entry succeeded, and no EPR offer within tSinkWaitCap; the sink resets; SPR contract."""
    _enters(world)
    world.wait((5e-3, 0.3))
    world.say("source", "EPR_Mode", [words.epr_mode(3)])
    world.epr = True
    world.wait(T_SINK_WAIT_CAP)
    world.hard_reset("sink")
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))


def _chunked_offer(world: World) -> bytes:
    _enters(world)
    world.wait((5e-3, 0.3))
    world.say("source", "EPR_Mode", [words.epr_mode(3)])
    world.epr = True
    objects = [*(offer_words(world.offer) + [0] * 7)[:7], words.fixed(28000, 5000)]
    data = b"".join(word.to_bytes(4, "little") for word in objects)
    world.responding()
    world.say("source", "EPR_Source_Capabilities", words.extended_words(data[:26], size=len(data)))
    return data


@row(FAULT_ROLES, "chunks", warned("source"), only="R3", apart=True)
def chunk_never_comes(world: World) -> None:
    """The sink asks for the second chunk of the EPR offer and does not get it; it resets; SPR contract."""
    _chunked_offer(world)
    world.responding()
    world.say("sink", "EPR_Source_Capabilities", words.extended_words(b"", chunk=1, asking=True))
    world.wait(T_SINK_WAIT_CAP)
    world.hard_reset("sink")
    world.offers_again()
    world.settle(world.wish("fixed"))


@row(FAULT_ROLES, "chunks", warned("sink"), only="R3", apart=True)
def chunk_never_asked_for(world: World) -> None:
    """The sink acknowledges the first chunk of the EPR offer and asks for no other; the source resets; SPR contract."""
    _chunked_offer(world)
    world.wait(world.sender_response())
    world.hard_reset("source")
    world.offers_again()
    world.settle(world.wish("fixed"))


@row(FAULT_ROLES, "chunks", warned("source"), only="R3")
def chunk_is_the_wrong_one(world: World) -> None:
    """Asked for chunk 1 of its long answer the source sends chunk 2; the sink gives up on the answer."""
    world.begin()
    world.wait((30e-3, 0.3))
    data = world.rng.randbytes(80)
    kind = "Manufacturer_Info"
    world.say("sink", "Get_Manufacturer_Info", words.extended_words(b"\x00\x00"))
    world.responding()
    world.say("source", kind, words.extended_words(data[:26], size=80))
    world.responding()
    world.say("sink", kind, words.extended_words(b"", chunk=1, asking=True))
    world.responding()
    world.say("source", kind, words.extended_words(data[52:78], size=80, chunk=2))
    world.wait((50e-3, 0.3))
    world.settle(world.wish())
