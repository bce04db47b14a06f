"""The states of a power negotiation as the wire shows them, as a table that can be read aloud.

Why it is: what may follow what is a fact of the standard, and is checked against it here at a glance.

Rules of this file: the table is the whole truth about what may follow what; nothing here knows of time, of
rules or of fault; an event that the table does not list in a state leaves the state as it is. Each entry
names the next state and the one thing to be written down on the way. ``follow.py`` drives it.

::

            Source_Capabilities        Request               Accept              PS_RDY
    IDLE ──────────────────────▶ OFFERED ─────▶ REQUESTED ─────────▶ ACCEPTED ─────────▶ IDLE (contract)
      ▲ ◀── Request (renewal, or again after Wait): straight to REQUESTED
      └─────────────── Reject, Wait, Soft_Reset, Hard Reset from wherever it is
"""

from __future__ import annotations

from enum import Enum


class State(Enum):
    """Where a power negotiation is."""

    IDLE = "nothing is being negotiated"
    OFFERED = "an offer stands unanswered"
    REQUESTED = "a request stands unanswered"
    ACCEPTED = "accepted, the supply is on its way"


class Event(Enum):
    """What was seen."""

    OFFER = "Source_Capabilities"
    REQUEST = "Request"
    ACCEPT = "Accept"
    REJECT = "Reject"
    WAIT = "Wait"
    READY = "PS_RDY"
    SOFT_RESET = "Soft_Reset"
    HARD_RESET = "Hard Reset"


class Action(Enum):
    """What is written down."""

    OPEN = "a try begins with this offer"
    REPEAT = "the offer was repeated"
    ANEW = "the try ends, another begins with this offer"
    ASK = "the request of this try"
    ASK_AGAIN = "a try begins with this request, the offer in force still stands"
    REASK = "the try ends, another begins with this request"
    GRANT = "the answer of this try"
    CLOSE = "the try ends"
    NOTHING = "nothing to write down"


_S, _E, _A = State, Event, Action

TABLE: dict[tuple[State, Event], tuple[State, Action]] = {
    (_S.IDLE, _E.OFFER): (_S.OFFERED, _A.OPEN),
    (_S.IDLE, _E.REQUEST): (_S.REQUESTED, _A.ASK_AGAIN),
    (_S.OFFERED, _E.OFFER): (_S.OFFERED, _A.REPEAT),
    (_S.OFFERED, _E.REQUEST): (_S.REQUESTED, _A.ASK),
    (_S.OFFERED, _E.SOFT_RESET): (_S.IDLE, _A.CLOSE),
    (_S.OFFERED, _E.HARD_RESET): (_S.IDLE, _A.CLOSE),
    (_S.REQUESTED, _E.ACCEPT): (_S.ACCEPTED, _A.GRANT),
    (_S.REQUESTED, _E.REJECT): (_S.IDLE, _A.CLOSE),
    (_S.REQUESTED, _E.WAIT): (_S.IDLE, _A.CLOSE),
    (_S.REQUESTED, _E.READY): (_S.IDLE, _A.CLOSE),
    (_S.REQUESTED, _E.OFFER): (_S.OFFERED, _A.ANEW),
    (_S.REQUESTED, _E.REQUEST): (_S.REQUESTED, _A.REASK),
    (_S.REQUESTED, _E.SOFT_RESET): (_S.IDLE, _A.CLOSE),
    (_S.REQUESTED, _E.HARD_RESET): (_S.IDLE, _A.CLOSE),
    (_S.ACCEPTED, _E.READY): (_S.IDLE, _A.CLOSE),
    (_S.ACCEPTED, _E.OFFER): (_S.OFFERED, _A.ANEW),
    (_S.ACCEPTED, _E.REQUEST): (_S.REQUESTED, _A.REASK),
    (_S.ACCEPTED, _E.SOFT_RESET): (_S.IDLE, _A.CLOSE),
    (_S.ACCEPTED, _E.HARD_RESET): (_S.IDLE, _A.CLOSE),
}


def advance(state: State, event: Event) -> tuple[State, Action]:
    """The next state and what to write down."""
    return TABLE.get((state, event), (state, Action.NOTHING))
