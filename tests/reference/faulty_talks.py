"""Conversations that go wrong in a known way, each with the verdict, the step and the party it must come to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.reference import words
from tests.reference.healthy_talks import ask_cable, deliver, offer_to, settle, soft_reset
from tests.reference.offers import Offer, make_demand, make_offer, offer_words
from tests.reference.talk import T_PS_TRANSITION, T_SEND_SOURCE_CAP, T_SINK_WAIT_CAP, Talk


@dataclass(frozen=True)
class Expect:
    """What a report may say. An empty tuple for stopped_at or suspect means anything but `not_suspects`.

    finding_who: some finding of severity warn or fail must name one of these. finding_words: and its rule or summary
    must contain one of these.
    """

    verdicts: tuple[str, ...]
    stopped_at: tuple[str | None, ...] = ()
    suspects: tuple[str | None, ...] = ()
    not_suspects: tuple[str, ...] = ()
    finding_who: tuple[str, ...] = ()
    finding_words: tuple[str, ...] = ()


PASS = Expect(("pass",), (None,), (None,))
UNSURE = Expect(("inconclusive",), not_suspects=("source", "sink", "cable"))


def _fail(stopped_at: str, suspect: str) -> Expect:
    return Expect(("fail",), (stopped_at,), (suspect,))


def _begin(talk: Talk, *, kinds: tuple[str, ...] = (), at_least: int = 1) -> list[Offer]:
    """Attach, now and then a question to the cable, and the offer that will be made."""
    asks = not talk.ports.fast and talk.rng.random() < 0.3
    talk.attach(soon=asks)
    if asks:
        ask_cable(talk, talk.rng.choice(("no", "3A")))
    return make_offer(talk.rng, talk.ports.source_revision, kinds=kinds, at_least=at_least)


def _rounds(talk: Talk, most: int = 3) -> int:
    return 1 if talk.ports.fast else talk.rng.randint(1, most)


def _last(turn: int, turns: int) -> bool:
    return turn == turns - 1


def offers_unacknowledged(talk: Talk) -> str:
    """Source_Capabilities again and again; nobody answers."""
    offer = _begin(talk)
    rng = talk.rng
    how = rng.choice(("silent", "silent", "deaf sink resets", "source resets"))
    for _ in range(_rounds(talk, 2) if how != "silent" else 1):
        for _ in range(rng.randint(4, 9) if how == "silent" else rng.randint(2, 4)):
            talk.unanswered("source", "Source_Capabilities", offer_words(offer))
            talk.wait(T_SEND_SOURCE_CAP)
        if how != "silent":
            talk.hard_reset("sink" if how == "deaf sink resets" else "source")
    if how != "silent":
        for _ in range(rng.randint(2, 4)):
            talk.unanswered("source", "Source_Capabilities", offer_words(offer))
            talk.wait(T_SEND_SOURCE_CAP)
    return how


def wrong_goodcrc(talk: Talk) -> str:
    """Each offer gets a GoodCRC, but with another MessageID."""
    offer = _begin(talk)
    for _ in range(talk.rng.randint(2, 6)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer), wrong_id=True)
        talk.wait(T_SEND_SOURCE_CAP)
    return ""


def no_request(talk: Talk) -> str:
    """The offer is acknowledged and nothing follows; the source resets."""
    offer = _begin(talk)
    how = talk.rng.choice(("hard", "hard", "soft first", "soft unaccepted"))
    turns = _rounds(talk)
    for turn in range(turns):
        offer_to(talk, offer)
        talk.wait(talk.sender_response())
        if how == "soft first":
            soft_reset(talk, "source")
            talk.wait((1e-3, 30e-3))
            offer_to(talk, offer)
            talk.wait(talk.sender_response())
        elif how == "soft unaccepted":
            talk.restart_ids()
            talk.say("source", "Soft_Reset")
            talk.wait(talk.sender_response())
        talk.hard_reset("source", back=not _last(turn, turns) or talk.rng.random() < 0.5)
    return how


def late_request(talk: Talk) -> str:
    """The Request comes only after the source has given up and reset."""
    offer = _begin(talk)
    turns = _rounds(talk)
    how = talk.rng.choice(("unacknowledged", "unacknowledged", "acknowledged"))
    demand = make_demand(talk.rng, talk.ports.common, offer)
    for turn in range(turns):
        offer_to(talk, offer)
        number = talk.next_id("sink")
        talk.wait(talk.sender_response())
        talk.hard_reset("source", back=False)
        talk.wait((0.4e-3, 20e-3))
        if how == "acknowledged":
            packet = talk.send("sink", "Request", [demand.word], message_id=number)
            talk.good_crc("source", packet)
        else:
            talk.unanswered("sink", "Request", [demand.word], message_id=number)
        if not _last(turn, turns):
            talk.restart_ids()
            talk.power_back()
    return how


def request_unacknowledged(talk: Talk) -> str:
    """The source never acknowledges the Request."""
    offer = _begin(talk)
    rng = talk.rng
    how = rng.choice(("source resets", "sink resets", "sink soft then hard", "nothing more"))
    turns = _rounds(talk) if how != "nothing more" else 1
    demand = make_demand(rng, talk.ports.common, offer)
    for turn in range(turns):
        offer_to(talk, offer)
        given_up = talk.now + rng.uniform(*talk.sender_response())
        talk.wait((0.3e-3, 10e-3))
        talk.unanswered("sink", "Request", [demand.word])
        if how == "nothing more":
            break
        if how == "sink soft then hard":
            talk.restart_ids()
            talk.wait((0.2e-3, 2e-3))
            talk.unanswered("sink", "Soft_Reset", message_id=0)
        if how == "source resets":
            talk.now = max(talk.now, given_up)
        else:
            talk.wait((0.2e-3, 2e-3))
        by = "source" if how == "source resets" else "sink"
        talk.hard_reset(by, back=not _last(turn, turns) or rng.random() < 0.5)
    return how


def request_unanswered(talk: Talk) -> str:
    """The Request is acknowledged, but neither Accept nor Reject nor Wait follows; the sink resets."""
    offer = _begin(talk)
    rng = talk.rng
    how = rng.choice(("hard", "hard", "soft unaccepted"))
    turns = _rounds(talk)
    demand = make_demand(rng, talk.ports.common, offer)
    for turn in range(turns):
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [demand.word])
        talk.wait(talk.sender_response())
        if how == "soft unaccepted":
            talk.restart_ids()
            talk.say("sink", "Soft_Reset")
            talk.wait(talk.sender_response())
        talk.hard_reset("sink", back=not _last(turn, turns) or rng.random() < 0.5)
    return how


def _rejected(talk: Talk, offer: list[Offer], word: int) -> str:
    rng = talk.rng
    how = "once" if talk.ports.fast else rng.choice(("once", "again", "reset"))
    offer_to(talk, offer)
    for turn in range(1 if how == "once" else rng.randint(2, 3)):
        if turn and how == "again":
            talk.wait((100e-3, 300e-3))
        elif turn:
            talk.wait(T_SINK_WAIT_CAP)
            talk.hard_reset("sink")
            offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [word])
        talk.responding()
        talk.say("source", "Reject")
    return how


def valid_rejected(talk: Talk) -> str:
    """A Request for something that was offered is rejected."""
    offer = _begin(talk)
    return _rejected(talk, offer, make_demand(talk.rng, talk.ports.common, offer).word)


def invalid_rejected(talk: Talk) -> str:
    """A Request for an object that was not offered, or for more current than offered, is rejected."""
    offer = _begin(talk)
    rng = talk.rng
    how = rng.choice(("position", "current"))
    place = rng.randrange(len(offer))
    one = offer[place]
    if how == "position":
        word = words.request_fixed(rng.randint(len(offer) + 1, 8), 1500, 1500)
    else:
        ma = one.limit + rng.choice((100, 500, 1000, 2000))
        word = words.request_fixed(place + 1, ma, ma)
    return how + " " + _rejected(talk, offer, word)


def not_ready(talk: Talk) -> str:
    """Accept, and then no PS_RDY; the sink resets."""
    offer = _begin(talk, at_least=2)
    rng = talk.rng
    moves = rng.random() < 0.4
    turns = _rounds(talk)
    demand = make_demand(rng, talk.ports.common, offer)
    for turn in range(turns):
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [demand.word])
        talk.responding()
        talk.say("source", "Accept")
        if moves:
            talk.move_vbus(demand.mv / 1000, talk.now + 30e-3, talk.now + 100e-3)
        talk.wait(T_PS_TRANSITION)
        talk.hard_reset("sink", back=not _last(turn, turns) or rng.random() < 0.5)
    return "voltage moved" if moves else "voltage stayed"


def not_delivered(talk: Talk) -> str:
    """PS_RDY, but VBUS is somewhere else."""
    offer = _begin(talk, at_least=3)
    rng = talk.rng
    position = rng.randint(2, len(offer))
    demand = make_demand(rng, talk.ports.common, offer, position=position)
    how = rng.choice(("stays", "collapses", "half way", "too high"))
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [demand.word])
    talk.responding()
    talk.say("source", "Accept")
    start = talk.now + rng.uniform(25e-3, 35e-3)
    target = demand.mv / 1000
    volts = {
        "stays": talk.volts,
        "collapses": rng.uniform(0.0, 0.6),
        "half way": 5 + (target - 5) * rng.uniform(0.3, 0.7),
        "too high": target * rng.uniform(1.2, 1.35),
    }[how]
    talk.move_vbus(volts, start, start + rng.uniform(2e-3, 60e-3))
    talk.now = talk.vbus[-1][0] + rng.uniform(1e-3, 30e-3)
    talk.say("source", "PS_RDY")
    talk.wait((60e-3, 0.3))
    return how


def pps_not_renewed(talk: Talk) -> str:
    """A programmable contract that the sink forgets; the source resets after 12 to 15 s."""
    offer = _begin(talk, kinds=("pps",))
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer, "pps"))
    for _ in range(talk.rng.randint(0, 2)):
        talk.wait((1.0, 9.9))
        settle(talk, make_demand(talk.rng, talk.ports.common, offer, "pps"))
    talk.wait((12.0, 15.0))
    talk.hard_reset("source", back=talk.rng.random() < 0.5)
    return ""


def offers_corrupt(talk: Talk) -> str:
    """No offer arrives whole."""
    offer = _begin(talk)
    rng = talk.rng
    resets = rng.random() < 0.3
    for _ in range(rng.randint(3, 7)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer), corrupt=True)
        talk.wait(T_SEND_SOURCE_CAP)
    if resets:
        talk.hard_reset("sink")
        for _ in range(rng.randint(2, 5)):
            talk.unanswered("source", "Source_Capabilities", offer_words(offer), corrupt=True)
            talk.wait(T_SEND_SOURCE_CAP)
    return "with reset" if resets else "without reset"


def starts_late(talk: Talk) -> str:
    """The capture begins when offer and Request are over; the caller cuts it there."""
    talk.attach()
    rng = talk.rng
    offer = make_offer(rng, talk.ports.source_revision)
    demand = make_demand(rng, talk.ports.common, offer)
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [demand.word])
    where = rng.choice(("before accept", "before ready", "after ready"))
    cut: float = talk.now + 40e-6
    talk.responding()
    accept = talk.say("source", "Accept")
    if where != "before accept":
        cut = talk.now + 40e-6
        if rng.random() < 0.3:
            cut = accept.start_s + 0.5 * (accept.end_s - accept.start_s)
    deliver(talk, demand)
    if where == "after ready":
        cut = talk.now + 40e-6
        talk.wait((5e-3, 0.1))
        talk.say("source", "Get_Sink_Cap")
        talk.responding()
        talk.say("sink", "Sink_Capabilities", [words.fixed(5000, 1500)])
    talk.cut_s = cut
    return where


Story = Callable[[Talk], str]
FAULTY: dict[str, tuple[Story, Expect]] = {
    "offers_unacknowledged": (offers_unacknowledged, _fail("offer_acknowledged", "sink")),
    "wrong_goodcrc": (wrong_goodcrc, _fail("offer_acknowledged", "sink")),
    "no_request": (no_request, _fail("request", "sink")),
    "late_request": (late_request, _fail("request", "sink")),
    "request_unacknowledged": (request_unacknowledged, _fail("request", "source")),
    "request_unanswered": (request_unanswered, _fail("accept", "source")),
    "valid_rejected": (valid_rejected, _fail("accept", "source")),
    "invalid_rejected": (invalid_rejected, _fail("accept", "sink")),
    "not_ready": (not_ready, _fail("ready", "source")),
    "not_delivered": (not_delivered, _fail("delivery", "source")),
    "pps_not_renewed": (pps_not_renewed, Expect(("fail",), (None, "ready"), ("sink",))),
    "offers_corrupt": (
        offers_corrupt,
        Expect(("fail", "inconclusive"), ("offer", "offer_acknowledged"), ("link",)),
    ),
    "starts_late": (starts_late, UNSURE),
}
NEEDS_R3X = frozenset({"pps_not_renewed"})
