"""Small conversations with one thing on VBUS or in the current, for the rules that argue from meters.

Why it is: each rule needs the smallest conversation that breaks it and the near miss on the right side of each limit.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from pdcheck.rules import Finding, Severity
from pdcheck.verdict import Verdict
from tests.conversation.told import told
from tests.reference import words
from tests.reference.healthy_talks import offer_to
from tests.reference.offers import Demand, fixed_offer
from tests.reference.talk import Ports, Talk
from tests.rules.meters import Meter, amps_of, verdict_with

#: A good probe: a row a millisecond, some noise.
GOOD = Meter(every_s=1e-3, noise=0.012)
GOOD_AMPS = Meter(every_s=1e-3, noise=0.006)
OFFER = (fixed_offer(5000, 3000), fixed_offer(9000, 3000), fixed_offer(20000, 2250))


def talk_at_9v(seed: int = 1, *, position: int = 2, ma: int = 2000, load_a: float = 1.5, rates: bool = True) -> Talk:
    """A healthy contract for 9 V 2 A (or another object), the device drawing its load; time is 50 ms after PS_RDY."""
    ports = Ports(source_bps=304e3, sink_bps=296e3) if rates else Ports()
    talk = Talk(random.Random(seed), ports, 0.1)
    talk.attach()
    negotiate(talk, position, ma)
    talk.draw(load_a, talk.now + 5e-3)
    talk.now += 50e-3
    return talk


def negotiate(talk: Talk, position: int, ma: int, *, offer: bool = True) -> None:
    """Offer, Request, Accept, VBUS, PS_RDY."""
    mv = OFFER[position - 1].max_mv
    if offer:
        offer_to(talk, list(OFFER))
        talk.responding()
    talk.say("sink", "Request", [words.request_fixed(position, ma, ma)])
    talk.responding()
    talk.say("source", "Accept")
    talk.move_vbus(mv / 1e3, talk.now + 28e-3, talk.now + 60e-3)
    talk.now += 80e-3
    talk.say("source", "PS_RDY")
    talk.settled = Demand(0, position, "fixed", mv, ma)


def chatter(talk: Talk) -> None:
    """An exchange that shows both ends joined."""
    talk.say("source", "Get_Sink_Cap")
    talk.responding()
    talk.say("sink", "Sink_Capabilities", [words.fixed(5000, 1500)])


@dataclass(frozen=True)
class Scene:
    """What happens after :func:`talk_at_9v` (or instead of it, where ``whole``), and for how long the capture goes
    on. ``volts``, ``amps``: the columns' meters, None for a column that is not there."""

    story: Callable[[Talk], None]
    tail_s: float = 0.6
    volts: Meter | None = GOOD
    amps: Meter | None = None
    whole: bool = False

    def verdict(self, seed: int = 1) -> Verdict:
        """The tool's verdict."""
        ports = Ports(source_bps=304e3, sink_bps=296e3)
        talk = Talk(random.Random(seed), ports, 0.1) if self.whole else talk_at_9v(seed)
        self.story(talk)
        last = max(talk.vbus[-1][0], talk.amps[-1][0])
        one = told(talk, talk.rng, tail_s=max(self.tail_s, last + 1e-3 - talk.now))
        amps = amps_of(talk) if self.amps is not None else None
        return verdict_with(one, talk.rng, amps=amps, volts=self.volts, current=self.amps)


def loud(verdict: Verdict) -> list[Finding]:
    """The findings that accuse: fail and warn."""
    return [f for f in verdict.findings if f.severity is not Severity.INFO]


def step(volts: float, *, after_s: float = 0.3, over_s: float = 5e-3) -> Callable[[Talk], None]:
    """VBUS goes to a level and stays there."""

    def story(talk: Talk) -> None:
        talk.now += after_s
        talk.move_vbus(volts, talk.now, talk.now + over_s)
        talk.now = talk.vbus[-1][0]

    return story


def dip(volts: float, length_s: float, *, after_s: float = 0.3) -> Callable[[Talk], None]:
    """VBUS goes to a level and comes back."""

    def story(talk: Talk) -> None:
        level = talk.volts
        talk.now += after_s
        talk.move_vbus(volts, talk.now, talk.now + 1e-3)
        talk.move_vbus(level, talk.now + 1e-3 + length_s, talk.now + 2e-3 + length_s)
        talk.now = talk.vbus[-1][0]

    return story


def then(*parts: Callable[[Talk], None]) -> Callable[[Talk], None]:
    """One after the other."""

    def story(talk: Talk) -> None:
        for part in parts:
            part(talk)

    return story


def load(amps: float, *, after_s: float = 0.0, hold_s: float = 0.0) -> Callable[[Talk], None]:
    """The device's current changes."""

    def story(talk: Talk) -> None:
        talk.draw(amps, talk.now + after_s)
        talk.now += after_s + hold_s

    return story


def wait(seconds: float) -> Callable[[Talk], None]:
    """Nothing happens."""

    def story(talk: Talk) -> None:
        talk.now += seconds

    return story
