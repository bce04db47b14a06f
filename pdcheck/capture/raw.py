"""Raw samples: a bit a channel, one or two bytes a sample, no times, no header.

Why it is: the cheapest analyzers stream exactly this, and the rate is known to the one who set it.

One byte or two is not written anywhere, but shows: neighbouring samples are mostly equal, so the distance at which
bytes repeat is the size of a sample.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.lines import MOST_BESIDE, MOST_EDGES, EdgeBuilder, too_many
from pdcheck.capture.model import Capture, Role
from pdcheck.capture.names import give_roles
from pdcheck.capture.registry import ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

BLOCK = 1 << 21
_PIECE = 1 << 12  # a power of two
_JUDGED = 1 << 16
_NOWHERE = np.empty(0, np.intp)
Bytes = NDArray[np.uint8]
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
        if len(where):
            _toggle(lines, (where + done).astype(np.float64), which)
        last = data[-size:].tobytes()
        done += got // size
        changes += len(where)
        if changes * len(lines) > MOST_BESIDE and too_many(lines):
            raise CaptureError(
                f"more than {MOST_EDGES:,} level changes up to sample {done:,}: more than can be judged at once",
                "capture only the channels that matter, or a shorter time", path=source.path,
            )  # fmt: skip
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

    Most pieces of a block hold the last value of the block before and nothing else; one comparison finds the others,
    and only these are looked at sample by sample.
    """

    def __init__(self, size: int) -> None:
        self._dtype = np.dtype("<u2" if size == 2 else "u1")
        self._differs = np.empty(BLOCK // 8, bool)
        self._flips = np.empty(BLOCK // size, self._dtype)

    def find(self, data: Bytes, last: bytes) -> tuple[NDArray[np.intp], Samples]:
        """The places (in samples) of the changes in a block, and which bits change there.

        :param last: the bytes of the sample before the block.
        """
        samples = data.view(self._dtype)
        whole = len(data) // _PIECE * _PIECE
        busy = np.zeros(2 - (-len(data) // _PIECE), bool)  # with a quiet one at either end
        if whole:
            busy[1 : whole // _PIECE + 1] = self._busy(data[:whole].reshape(-1, _PIECE), last)
        if whole < len(data):
            busy[-2] = True
        border = np.flatnonzero(busy[1:] != busy[:-1]) * (_PIECE // len(last))
        if not len(border):
            return _NOWHERE, np.empty(0, self._dtype)
        # What follows a busy piece is at rest again: in the word behind it, if not before.
        bounds = np.minimum(border.reshape(-1, 2) + np.array((0, 8 // len(last))), len(samples))
        return self._flipped(samples, bounds, int.from_bytes(last, "little"))

    def _busy(self, pieces: Bytes, last: bytes) -> NDArray[np.bool_]:
        """Which pieces hold anything but the last value."""
        idle = np.frombuffer(last * (8 // len(last)), np.uint64)[0]
        if idle == 0:
            at_zero: NDArray[np.bool_] = pieces.view(np.uint64).max(axis=1) != 0
            return at_zero
        differs = np.not_equal(pieces.view(np.uint64).ravel(), idle, out=self._differs[: pieces.size // 8])
        busy: NDArray[np.bool_] = np.bitwise_or.reduce(differs.view(np.uint64).reshape(len(pieces), -1), axis=1) != 0
        return busy

    def _flipped(self, samples: Samples, bounds: NDArray[np.intp], before: int) -> tuple[NDArray[np.intp], Samples]:
        """The changes in some stretches of a block, which are laid end to end for it.

        :param bounds: starts and ends of the stretches, whole words but for the last one's end.
        :param before: the sample before the block.
        """
        flips = self._flips
        at = 0
        for start, stop in bounds.tolist():
            end = at + stop - start
            np.bitwise_xor(samples[start + 1 : stop], samples[start : stop - 1], out=flips[at + 1 : end])
            flips[at] = int(samples[start]) ^ (int(samples[start - 1]) if start else before)
            at = end
        in_word = 3 if self._dtype.itemsize == 1 else 2
        even = -(-at >> in_word) << in_word
        flips[at:even] = 0
        # Words of zeros, which most are, are passed over.
        words = flips[:even].view(np.uint64)
        telling = np.flatnonzero(words != 0)
        among = np.flatnonzero(words[telling].view(self._dtype) != 0)
        # Shifts, for divisions would cost more than all the rest.
        found = (telling[among >> in_word] << in_word) | (among & (1 << in_word) - 1)
        which = flips[found]
        laid = np.cumsum(bounds[:, 1] - bounds[:, 0])
        found += np.repeat(bounds[:, 1] - laid, np.diff(np.searchsorted(found, laid), prepend=0))
        return found, which


def _toggle(lines: list[EdgeBuilder], times: NDArray[np.float64], which: Samples) -> None:
    """Hand the changes to the lines."""
    seen = int(np.bitwise_or.reduce(which))
    rest = seen
    while rest:
        channel = rest.bit_length() - 1
        rest ^= 1 << channel
        lines[channel].toggle(times if seen == 1 << channel else times[(which >> channel & 1).astype(bool)])
