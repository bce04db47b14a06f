"""From a whole line's edges to bursts, and from each burst to a packet or to noise.

Why it is: CC is silent most of the time. Everything that costs work happens only where edges crowd.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.line.batch import read_clean
from pdcheck.line.clock import find_lock, read_bits, spike_limit
from pdcheck.line.gaps import longer
from pdcheck.line.model import Burst, Packet
from pdcheck.line.packets import packet_from_bits
from pdcheck.standard import electrical

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Pulses shorter than this are not there for a receiver that follows the standard. A threshold far off the middle
#: makes true pulses as short, so the burst is first tried as it is; the CRC tells.
_FILTER_S = electrical.RX_FILTER.min_s
#: A second, harder filter for packets that will not come through the first: spikes that a coarse sampling
#: has stretched. Our own choice.
_HARD_FILTER_S = 0.26e-6
#: Two edges further apart than this cannot belong to one packet: three bits at the slowest rate. Packets are
#: at least tInterFrameGap (25 us) apart. Our own choice between the two.
_BURST_GAP_S = 11e-6
#: What comes so soon after a packet's end is its driver letting go: less than tInterFrameGap.
_TAIL_S = 23.5e-6
#: Fewer edges than this are not worth looking at: a packet's preamble alone has 96.
_LEAST_EDGES = 16
#: What could have been a packet that this capture cannot show: as long as two thirds of the shortest packet
#: (149 bits) and of a packet's pace.
TRAFFIC_LENGTH_S = 0.3e-3
_TRAFFIC_PACE_S = 12e-6


def split_bursts(edges: Floats, time_step_s: float | None) -> tuple[Ints, Ints]:
    """Where edges crowd together: index of each burst's first edge, and one past its last.

    :param time_step_s: the file's time resolution where known: a slow capture needs a wider gap.
    """
    if len(edges) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    gap = max(_BURST_GAP_S, 3.0 * time_step_s) if time_step_s else _BURST_GAP_S
    cuts = longer(edges, gap) + 1
    return np.concatenate(([0], cuts)), np.concatenate((cuts, [len(edges)]))


def drop_spikes(edges: Floats, shortest_s: float) -> Floats:
    """The edges without those of pulses shorter than ``shortest_s`` seconds (both edges of each go)."""
    if len(edges) < 2 or shortest_s <= 0.0 or float(np.diff(edges).min()) >= shortest_s:
        return edges
    kept: list[float] = []
    for time in edges.tolist():
        if kept and time - kept[-1] < shortest_s:
            kept.pop()
        else:
            kept.append(time)
    return np.asarray(kept, dtype=np.float64)


def read_burst(edges: Floats, first_rising: bool) -> Packet | None:
    """The packet in a burst, whole or broken; None where there is no preamble.

    :param edges: its edge times in seconds.
    :param first_rising: True where edge 0 is a rising one.
    """
    best: Packet | None = None
    tried = -1
    for shortest in (0.0, _FILTER_S, _HARD_FILTER_S):
        cleaned = drop_spikes(edges, shortest)
        if len(cleaned) == tried or len(cleaned) < _LEAST_EDGES:
            continue
        tried = len(cleaned)
        # Spikes go in pairs of edges, so the first edge left has its polarity by its distance from the first.
        rising = first_rising ^ bool(np.searchsorted(edges, cleaned[0]) % 2)
        lock = find_lock(cleaned, rising)
        if lock is None:
            continue
        # A threshold far off the middle makes true pulses as narrow as spikes: first read with all of them.
        spiky = float(np.diff(cleaned).min()) < spike_limit(lock)
        for ignore_spikes in (False, True) if spiky else (False,):
            packet = packet_from_bits(read_bits(cleaned, rising, lock, ignore_spikes=ignore_spikes), lock)
            if packet.intact:
                return packet
            if best is None or len(packet.data) > len(best.data):
                best = packet
    return best


def read_line(
    edges: Floats, initial: bool, time_step_s: float | None
) -> tuple[list[Packet], list[Burst], int]:
    """All packets and traffic-like bursts of a line, and the number of stray edges.

    :param edges: float64 array of edge times in seconds, strictly increasing.
    :param initial: the level before the first edge.
    """
    bursts: list[Burst] = []
    stray = 0
    starts, ends = split_bursts(edges, time_step_s)
    clean = read_clean(edges, starts, ends, initial)
    packets = list(clean.values())
    pace = max(_TRAFFIC_PACE_S, 2.5 * time_step_s) if time_step_s else _TRAFFIC_PACE_S
    # Where each clean packet and its driver's letting go are over: few bursts hold anything behind that.
    over = np.searchsorted(edges, np.array([packet.end_s for packet in packets]) + _TAIL_S)
    numbers = np.fromiter(clean, np.int64, len(clean))
    rest = starts.copy()
    rest[numbers] = np.clip(over, starts[numbers], ends[numbers])
    left = np.flatnonzero(rest < ends)
    for first, end in zip(rest[left].tolist(), ends[left].tolist(), strict=True):
        # Edges in the gap (a late letting go, a spike) may join the next packet to this one.
        while end - first >= _LEAST_EDGES:
            part = edges[first:end]
            packet = read_burst(part, first_rising=(not initial) ^ bool(first % 2))
            if packet is None:
                break
            packets.append(packet)
            # Where a broken packet ends nobody knows.
            first = first + int(np.searchsorted(part, packet.end_s + _TAIL_S)) if packet.intact else end
        count = end - first
        if count == 0:
            continue
        length = float(edges[end - 1] - edges[first])
        if count >= _LEAST_EDGES and length >= TRAFFIC_LENGTH_S and length / count <= pace:
            bursts.append(Burst(float(edges[first]), float(edges[end - 1]), count, True))
        else:
            stray += count
    packets.sort(key=lambda packet: packet.start_s)
    return packets, bursts, stray
