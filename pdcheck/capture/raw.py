"""Raw samples: a bit a channel, one or two bytes a sample, no times, no header.

Why it is: the cheapest analyzers stream exactly this, and the rate is known to the one who set it.

One byte or two is not written anywhere, but shows: neighbouring samples are mostly equal, so the distance at which
bytes repeat is the size of a sample.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes
from pdcheck.capture.lines import MOST_BESIDE, MOST_EDGES, EdgeBuilder, too_many
from pdcheck.capture.model import Capture, Role
from pdcheck.capture.names import give_roles
from pdcheck.capture.registry import ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

BLOCK = 1 << 21
_PIECE = 1 << 12  # a power of two
_JUDGED = 1 << 16
_FEW = 8
_AT_ONCE = 1 << 18  # changes: noise is to be noticed before it fills the memory
_NOWHERE = np.empty(0, np.intp)
Samples = NDArray[np.uint8] | NDArray[np.uint16]


def read_raw(source: ByteSource, options: ReadOptions) -> Capture:
    """Read raw samples at ``options.rate_hz``.

    :raises CaptureError: no rate is known, or the file holds noise beyond measure.
    """
    if options.rate_hz is None:
        raise CaptureError("holds raw samples without times", "give --rate HZ", path=source.path)
    period = 1.0 / options.rate_hz
    room = np.empty(BLOCK, np.uint8)
    view = room.data
    got = source.readinto(view)
    idle = int(room[0])
    silent = 0
    while got and bool((room[:got] == idle).all()):
        silent += got
        got = source.readinto(view) if got == BLOCK else 0
    size = _sample_size(room[:got])
    names = [f"channel {channel}" for channel in range(8 * size)]
    roles = give_roles(names, [Role.OTHER] * len(names), options.roles, source.path)
    lines = [EdgeBuilder(name, role) for name, role in zip(names, roles, strict=True)]
    last = bytes([idle] * size) if silent else room[:size].tobytes()
    for channel, line in enumerate(lines):
        line.initial = line.level = int.from_bytes(last, "little") >> channel & 1
    done = silent // size
    finder = _Changes(size)
    changes = 0
    while got >= size:
        data = room[: got // size * size]
        where, which = finder.find(data, last)
        for some in (slice(at, at + _AT_ONCE) for at in range(0, len(where), _AT_ONCE)):
            _toggle(lines, (where[some] + done).astype(np.float64), which[some])
            changes += len(where[some])
            if changes * len(lines) > MOST_BESIDE and too_many(lines):
                raise CaptureError(
                    f"more than {MOST_EDGES:,} level changes up to sample {done + int(where[some][-1]):,}: more than "
                    "can be judged at once", "capture only the channels that matter, or a shorter time",
                    path=source.path,
                )  # fmt: skip
        last = data[-size:].tobytes()
        done += got // size
        got = source.readinto(view) if got == BLOCK else 0
    return Capture(
        source.path, "raw", 0.0, max(done - 1, 0) * period, period,
        tuple(line.line(period) for line in lines if not line.given_up),
        notes=tuple(said for line in lines for said in line.notes()),
    )


def _sample_size(block: Bytes) -> int:
    """Bytes a sample, from the first block in which something happens."""
    if len(block) < 4 or len(block) % 2:
        return 1
    first = int(np.argmax(block != block[0]))
    block = block[max(0, first - 64) : first + _JUDGED]
    to_next = int(np.count_nonzero(block[1:] != block[:-1]))
    to_second = int(np.count_nonzero(block[2:] != block[:-2]))
    return 2 if to_next > to_second else 1


class _Changes:
    """Finds the samples that differ from the one before, with buffers that serve block after block.

    Most pieces of a block hold one value and nothing else; one comparison finds the others, and only these are looked
    at sample by sample, side by side.
    """

    def __init__(self, size: int) -> None:
        self._dtype = np.dtype("<u2" if size == 2 else "u1")
        self._differs = np.empty(BLOCK // 8, bool)
        self._flips = np.empty(BLOCK // size, self._dtype)
        self._chosen = np.empty(BLOCK // size, self._dtype)
        self._one = np.uint64((1 << 8 * size) - 1)
        self._repeat = np.uint64(int.from_bytes((b"\1" + bytes(size - 1)) * (8 // size), "little"))

    def find(self, data: Bytes, last: bytes) -> tuple[NDArray[np.intp], Samples]:
        """The places (in samples) of the changes in a block, and which bits change there.

        :param last: the bytes of the sample before the block.
        """
        samples = data.view(self._dtype)
        before = np.frombuffer(last, self._dtype)[0]
        in_piece = _PIECE // len(last)
        whole = len(samples) // in_piece
        found, which = _NOWHERE, np.empty(0, self._dtype)
        if whole:
            pieces = samples[: whole * in_piece].reshape(whole, in_piece)
            found, which = self._in_pieces(pieces, np.flatnonzero(self._busy(pieces, last)), before)
            before = pieces[-1, -1]
        rest = samples[whole * in_piece :]
        if len(rest):
            flips = rest ^ np.append(before, rest[:-1])
            more = np.flatnonzero(flips)
            found, which = np.append(found, more + whole * in_piece), np.append(which, flips[more])
        return found, which

    def _busy(self, pieces: Samples, last: bytes) -> NDArray[np.bool_]:
        """Which pieces hold changes, or differ from what is before them."""
        words = pieces.view(np.uint64)
        flat = words.ravel()
        differs = self._differs[: flat.size]
        in_pieces = differs.view(np.uint64).reshape(len(pieces), -1)
        idle = np.frombuffer(last * (8 // len(last)), np.uint64)[0]
        busy: NDArray[np.bool_]
        if idle == 0:
            busy = words.max(axis=1) != 0
        else:
            np.not_equal(flat, idle, out=differs)
            busy = np.bitwise_or.reduce(in_pieces, axis=1) != 0
        if _FEW * int(np.count_nonzero(busy)) <= len(busy):
            busy[1:] |= busy[:-1]  # what follows may begin with the way back
            return busy
        # A slow channel may rest at one level and then at the other: each word is compared with the one before.
        np.not_equal(flat[1:], flat[:-1], out=differs[1:])
        differs[0] = flat[0] != idle
        busy = np.bitwise_or.reduce(in_pieces, axis=1) != 0
        first = words[:, 0]
        # Words that are all alike may still hold changes.
        busy |= first != (first & self._one) * self._repeat
        return busy

    def _in_pieces(
        self, pieces: Samples, busy: NDArray[np.intp], before: np.generic
    ) -> tuple[NDArray[np.intp], Samples]:
        """The changes in some pieces of a block.

        :param before: the sample before the block.
        """
        size = pieces.shape[1]
        shape = (len(busy), size)
        chosen = np.take(pieces, busy, axis=0, out=self._chosen[: busy.size * size].reshape(shape), mode="clip")
        flips = self._flips[: busy.size * size].reshape(shape)
        np.bitwise_xor(chosen[:, 1:], chosen[:, :-1], out=flips[:, 1:])
        above = pieces[busy - 1, -1]
        if len(busy) and busy[0] == 0:
            above[0] = before
        np.bitwise_xor(chosen[:, 0], above, out=flips[:, 0])
        in_word = 3 if self._dtype.itemsize == 1 else 2
        # Words of zeros, which most are, are passed over.
        words = flips.reshape(-1).view(np.uint64)
        telling = np.flatnonzero(words != 0)
        among = np.flatnonzero(words[telling].view(self._dtype) != 0)
        # Shifts, for divisions would cost more than all the rest.
        found = (telling[among >> in_word] << in_word) | (among & (1 << in_word) - 1)
        which = flips.reshape(-1)[found]
        in_piece = size.bit_length() - 1
        found = (busy[found >> in_piece] << in_piece) | (found & size - 1)
        return found, which


def _toggle(lines: list[EdgeBuilder], times: NDArray[np.float64], which: Samples) -> None:
    """Hand the changes to the lines."""
    seen = int(np.bitwise_or.reduce(which))
    rest = seen
    while rest:
        channel = rest.bit_length() - 1
        rest ^= 1 << channel
        lines[channel].toggle(times if seen == 1 << channel else times[(which >> channel & 1).astype(bool)])
