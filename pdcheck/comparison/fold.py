"""From a conversation to the moves a technician would tell: repeats of the same try folded into one.

Why it is: a good unit makes one try and a bad one twelve. What is compared is the try, not how often it was made;
and 50,000 messages of a contract that is kept alive become a handful of moves before anything slow looks at them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from operator import eq

from pdcheck.comparison.model import Heard, Move, What
from pdcheck.conversation.follow import object_at
from pdcheck.conversation.model import Conversation, Exchange, Party, Reset, Silence
from pdcheck.conversation.names import OFFERS, REQUESTS
from pdcheck.messages.model import DataObject
from pdcheck.rules.words import volts
from pdcheck.standard.line_code import Sop

#: The longest try, in moves, whose repeats are folded. Our own choice: an offer, a contract and some questions.
LONGEST_TRY = 24
#: Who got no GoodCRC repeats within some 1.3 ms; after this long without a repeat or a reset it was content.
_CONTENT_S = 8e-3
_RESTARTS = ("Soft_Reset", "Hard Reset")


def moves_of(conversation: Conversation, *, by_position: bool = False) -> tuple[Move, ...]:
    """The folded moves of a conversation, in time order.

    :param by_position: tell requests apart by the object's number instead of its voltage, for a pair in which one
        capture does not show the offer.
    """
    return fold(single_moves(conversation, by_position=by_position))


def offer_missing(conversation: Conversation) -> bool:
    """True where a request comes before any offer that the capture shows."""
    for one in conversation.exchanges:
        if one.name in OFFERS and one.sender is Party.SOURCE and one.message.objects:
            return False
        if one.name in REQUESTS:
            return True
    return False


def single_moves(conversation: Conversation, *, by_position: bool = False) -> list[Move]:
    """Every exchange and reset as a move of its own, in time order."""
    steps: list[Exchange | Reset] = sorted(
        [*conversation.exchanges, *conversation.resets], key=lambda step: step.start_s
    )
    moves: list[Move] = []
    offered: tuple[DataObject, ...] = ()
    for place, step in enumerate(steps):
        if isinstance(step, Reset):
            # Its sender is known only where the bit rates give it away, so it is no part of what makes it the same.
            name = step.packet.sop.value if step.packet.sop is not None else "reset"
            what = What(Party.UNKNOWN, name, None, "", Heard.YES)
            end_s = step.packet.end_s
            moves.append(Move(what, step.sender, step.start_s, end_s, end_s, 1, 1, True, ()))
            continue
        if step.name in OFFERS and step.sender is Party.SOURCE and step.message.objects and not by_position:
            offered = step.message.objects
        following = steps[place + 1] if place + 1 < len(steps) else None
        heard, sure = _heard(step, following)
        what = What(step.sender, step.name, step.sop, _detail(step, offered), heard)
        moves.append(Move(
            what, step.sender, step.start_s, step.settled_s, step.settled_s, 1, len(step.transmissions), sure,
            step.message.objects,
        ))
    return moves


def _heard(step: Exchange, following: Exchange | Reset | None) -> tuple[Heard, bool]:
    """Whether the move was acknowledged, and whether the capture is sure of it."""
    if step.acknowledged is True:
        return Heard.YES, True
    if step.acknowledged is None:
        return Heard.YES, False
    unheard = Heard.WRONG_ID if Silence.WRONG_ID in step.silences else Heard.NO
    if step.sop is not Sop.SOP or len(step.transmissions) > 1 or following is None or step.name in OFFERS:
        return unheard, True
    name = following.name if isinstance(following, Exchange) else "Hard Reset"
    # A sender that neither repeats nor resets has got its GoodCRC, though the capture does not show it.
    if name in _RESTARTS or (name == step.name and following.start_s - step.end_s < _CONTENT_S):
        return unheard, True
    return Heard.YES, False


def _detail(step: Exchange, offered: tuple[DataObject, ...]) -> str:
    objects = step.message.objects
    if step.name in REQUESTS and objects:
        return _asked(objects[0], offered)
    if step.name in ("EPR_Mode", "Extended_Control") and objects:
        return str(objects[0].get("action") or objects[0].get("type") or "")
    if step.name == "Vendor_Defined" and objects:
        head = objects[0]
        if head.get("structured"):
            return f"{head.get('command_name') or head.get('command')} {head.get('command_type')}"
        svid = head.integer("svid")
        return f"unstructured, SVID 0x{svid:04X}" if svid is not None else "unstructured"
    return ""


def _asked(wanted: DataObject, offered: tuple[DataObject, ...]) -> str:
    """What a request asks for, by its voltage: objects at other positions may be the same, and currents vary."""
    position = wanted.integer("position")
    given = object_at(offered, position) if position is not None else None
    if given is None:
        return f"object {position}, which was not offered" if offered else f"object {position}"
    if given.kind == "fixed":
        return volts(given.number("voltage_mv"))
    if given.kind in ("variable", "battery"):
        low, high = given.integer("min_voltage_mv"), given.integer("max_voltage_mv")
        if low is not None and high is not None:
            return f"{volts(low)} to {volts(high)} ({given.kind})"
    # The voltage asked of a programmable supply follows the battery; it is compared with the contracts.
    return {"spr_pps": "PPS", "spr_avs": "AVS", "epr_avs": "EPR AVS"}.get(given.kind, given.kind)


def fold(moves: Sequence[Move]) -> tuple[Move, ...]:
    """The moves with repeats of the same run of moves folded into its first, shortest runs first.

    Linear in the number of moves for each length of a run.
    """
    numbers: dict[What, int] = {}
    keys = [numbers.setdefault(move.what, len(numbers)) for move in moves]
    kept = list(moves)
    for length in range(1, LONGEST_TRY + 1):
        if len(kept) < 2 * length:
            break
        kept, keys = _fold_runs(kept, keys, length)
    return tuple(kept)


def _fold_runs(moves: list[Move], keys: list[int], length: int) -> tuple[list[Move], list[int]]:
    # One byte a place: 1 where the key comes again ``length`` further on. So many 1 in a row are a run and its repeat.
    again = bytes(map(eq, keys, keys[length:]))
    run = b"\1" * length
    out: list[Move] = []
    out_keys: list[int] = []
    done = 0
    while (place := again.find(run, done)) >= 0:
        end = again.find(b"\0", place)
        times = 1 + ((end if end >= 0 else len(again)) - place) // length
        out += moves[done:place]
        out_keys += keys[done : place + length]
        done = place + times * length
        out += [joined(moves[place + step : done : length], length, step) for step in range(length)]
    return [*out, *moves[done:]], [*out_keys, *keys[done:]]


def joined(made: Sequence[Move], run: int, step: int) -> Move:
    """Repeats of one move, in time order, as one: the ``step``-th (from 0) of a try of ``run`` moves."""
    first = made[0]
    if len(made) == 1:
        return first
    return replace(
        first, last_s=made[-1].last_s, times=sum(m.times for m in made), sent=sum(m.sent for m in made),
        sure=all(m.sure for m in made), repeats=tuple(made), run=run, step=step,
    )


def split(moves: Sequence[Move], end: int, times: int) -> list[Move] | None:
    """The moves with the first ``times`` repeats of the folded try that ends before ``end`` told apart from the rest.

    None where no folded try ends there, or where it has no more repeats.
    """
    run = moves[end - 1].run if end else 0
    block = moves[max(0, end - run) : end]
    made = len(moves[end - 1].repeats) if end else 0
    if not run or made <= times or [(m.run, m.step, len(m.repeats)) for m in block] != [
        (run, step, made) for step in range(run)
    ]:
        return None
    first = [joined(m.repeats[:times], run, m.step) for m in block]
    rest = [joined(m.repeats[times:], run, m.step) for m in block]
    return [*moves[: end - run], *first, *rest, *moves[end:]]


def repeats_before(moves: Sequence[Move], end: int) -> int:
    """How often the try that ends before ``end`` was made."""
    return max(1, len(moves[end - 1].repeats)) if end else 1
