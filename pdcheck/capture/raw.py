"""Raw samples: a bit a channel, one or two bytes a sample, no times, no header.

Why it is: the cheapest analyzers stream exactly this, and the rate is known to the one who set it.

One byte or two is not written anywhere, but shows: neighbouring samples are mostly equal, so the distance at which
bytes repeat is the size of a sample.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.lines import EdgeBuilder
from pdcheck.capture.model import Capture, Role
from pdcheck.capture.names import give_roles
from pdcheck.capture.registry import ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

BLOCK = 1 << 18
_PART = 1 << 14
_MOST_EDGES = 12 << 20
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
    done = silent // size
    last = idle if size == 1 else idle | idle << 8
    if not silent:
        last = int(room[0]) if size == 1 else int(room[:2].view("<u2")[0])
    for channel, line in enumerate(lines):
        line.initial = line.level = last >> channel & 1
    while got >= size:
        samples = room[: got // size * size].view("<u2" if size == 2 else "u1")
        last = _take(samples, done, last, lines)
        done += len(samples)
        if sum(len(line.edges) for line in lines) > _MOST_EDGES:
            raise CaptureError(
                f"more than {_MOST_EDGES:,} level changes in {done:,} samples: noise rather than traffic",
                "capture only the channels that matter", path=source.path,
            )  # fmt: skip
        got = source.readinto(view) if got == BLOCK else 0
    return Capture(
        source.path, "raw", 0.0, max(done - 1, 0) * period, period, tuple(line.line(period) for line in lines)
    )


def _sample_size(block: Bytes) -> int:
    """Bytes a sample, from the first block in which something happens."""
    if len(block) < 4 or len(block) % 2:
        return 1
    to_next = int(np.count_nonzero(block[1:] != block[:-1]))
    to_second = int(np.count_nonzero(block[2:] != block[:-2]))
    return 2 if to_next > to_second else 1


def _take(samples: Samples, done: int, last: int, lines: list[EdgeBuilder]) -> int:
    """Find the changes in a block; the last sample is returned.

    Most blocks hold one value only, so the whole block is compared with it first, then its parts.
    """
    if _all_are(samples, last):
        return last
    for start in range(0, len(samples), _PART):
        part = samples[start : start + _PART]
        if _all_are(part, last):
            continue
        flips = np.empty_like(part)
        flips[0] = int(part[0]) ^ last
        np.bitwise_xor(part[1:], part[:-1], out=flips[1:])
        where = _not_zero(flips)
        which = flips[where]
        times = (where + (done + start)).astype(np.float64)
        seen = int(np.bitwise_or.reduce(which))
        for channel, line in enumerate(lines):
            if seen >> channel & 1:
                line.toggle(times if seen == 1 << channel else times[(which >> channel & 1).astype(bool)])
        last = int(part[-1])
    return last


def _all_are(samples: Samples, value: int) -> bool:
    """Whether all samples have this value; eight bytes at a time."""
    each = 8 // samples.itemsize
    whole = len(samples) // each * each
    word = np.full(each, value, samples.dtype).view(np.uint64)[0]
    return bool((samples[:whole].view(np.uint64) == word).all()) and bool((samples[whole:] == value).all())


def _not_zero(flips: Samples) -> NDArray[np.intp]:
    """Places of the samples that are not zero; words of zeros, which most are, are passed over."""
    each = 8 // flips.itemsize
    whole = len(flips) // each * each
    words = np.flatnonzero(flips[:whole].view(np.uint64) != 0)
    row, column = np.nonzero(flips[:whole].reshape(-1, each)[words])
    found = words[row] * each + column
    if whole == len(flips):
        return found
    return np.concatenate([found, np.flatnonzero(flips[whole:]) + whole])
