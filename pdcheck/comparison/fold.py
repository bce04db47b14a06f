"""From a conversation to the moves a technician would tell: repeats of the same try folded into one.

Why it is: a good unit makes one try and a bad one twelve. What is compared is the try, not how often it was made;
and 50,000 messages of a contract that is kept alive become a handful of moves before anything slow looks at them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pdcheck.comparison.model import Move, What
from pdcheck.conversation.follow import object_at
from pdcheck.conversation.model import Conversation, Exchange, Party, Reset
from pdcheck.conversation.names import OFFERS, REQUESTS
from pdcheck.messages.model import DataObject
from pdcheck.rules.words import volts
from pdcheck.standard.line_code import Sop

#: The longest try, in moves, whose repeats are folded. Our own choice: an offer, a contract and some questions.
LONGEST_TRY = 24
#: Who got no GoodCRC repeats within some 1.3 ms; after this long without a repeat or a reset it was content.
_CONTENT_S = 8e-3
_RESTARTS = ("Soft_Reset", "Hard Reset")


def moves_of(conversation: Conversation) -> tuple[Move, ...]:
    """The folded moves of a conversation, in time order."""
    return fold(single_moves(conversation))


def single_moves(conversation: Conversation) -> list[Move]:
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
            what = What(Party.UNKNOWN, name, None, "", True)
            end_s = step.packet.end_s
            moves.append(Move(what, step.sender, step.start_s, end_s, end_s, 1, 1, True, ()))
            continue
        if step.name in OFFERS and step.sender is Party.SOURCE and step.message.objects:
            offered = step.message.objects
        following = steps[place + 1] if place + 1 < len(steps) else None
        answered, sure = _answered(step, following)
        what = What(step.sender, step.name, step.sop, _detail(step, offered), answered)
        moves.append(Move(
            what, step.sender, step.start_s, step.settled_s, step.settled_s, 1, len(step.transmissions), sure,
            step.message.objects,
        ))
    return moves


def _answered(step: Exchange, following: Exchange | Reset | None) -> tuple[bool, bool]:
    """Whether the move was acknowledged, and whether the capture is sure of it."""
    if step.acknowledged is True:
        return True, True
    if step.acknowledged is None:
        return True, False
    if step.sop is not Sop.SOP or len(step.transmissions) > 1 or following is None or step.name in OFFERS:
        return False, True
    name = following.name if isinstance(following, Exchange) else "Hard Reset"
    # A sender that neither repeats nor resets has got its GoodCRC, though the capture does not show it.
    if name in _RESTARTS or (name == step.name and following.start_s - step.end_s < _CONTENT_S):
        return False, True
    return True, False


def _detail(step: Exchange, offered: tuple[DataObject, ...]) -> str:
    objects = step.message.objects
    if step.name in REQUESTS and objects:
        return _asked(objects[0], offered)
    if step.name == "Vendor_Defined" and objects:
        head = objects[0]
        if head.get("structured"):
            return f"{head.get('command')} {head.get('command_type')}"
        svid = head.get("svid")
        return f"unstructured, SVID 0x{svid:04X}" if isinstance(svid, int) else "unstructured"
    return ""


def _asked(wanted: DataObject, offered: tuple[DataObject, ...]) -> str:
    """What a request asks for, by its voltage: objects at other positions may be the same, and currents vary."""
    position = wanted.get("position")
    given = object_at(offered, position) if isinstance(position, int) else None
    if given is None:
        return f"object {position}"
    if given.kind == "fixed":
        return volts(given.number("voltage_mv"))
    if given.kind in ("variable", "battery"):
        low, high = given.get("min_voltage_mv"), given.get("max_voltage_mv")
        if isinstance(low, int) and isinstance(high, int):
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
    out: list[list[Move]] = []
    out_keys: list[int] = []
    place = 0
    while place < len(moves):
        run = keys[place : place + length]
        # A run that was folded is repeated whole, or not at all.
        if len(run) == length and out_keys[-length:] == run and len({len(made) for made in out[-length:]}) == 1:
            for made, move in zip(out[-length:], moves[place : place + length], strict=True):
                made.append(move)
            place += length
            continue
        out.append([moves[place]])
        out_keys.append(keys[place])
        place += 1
    return [joined(made, length) for made in out], out_keys


def joined(made: Sequence[Move], run: int) -> Move:
    """Repeats of one move, in time order, as one; ``run``: how many moves the try has that is repeated."""
    first = made[0]
    if len(made) == 1:
        return first
    return replace(
        first, last_s=made[-1].last_s, times=sum(m.times for m in made), sent=sum(m.sent for m in made),
        sure=all(m.sure for m in made), repeats=tuple(made), run=run,
    )


def unrolled(moves: Sequence[Move], end: int) -> list[Move] | None:
    """The moves with the first of the folded tries that ends before ``end`` told apart from its repeats.

    None where no folded try ends there.
    """
    run = moves[end - 1].run if end else 0
    block = moves[max(0, end - run) : end]
    if not run or len(block) < run or any(m.run != run or len(m.repeats) != len(block[0].repeats) for m in block):
        return None
    firsts = [m.repeats[0] for m in block]
    rest = [joined(m.repeats[1:], run) for m in block]
    return [*moves[: end - run], *firsts, *rest, *moves[end:]]
