"""CC as an oscilloscope sees it: volts, finite edges, noise, and an idle level that is not one of the driven two.

The bits come from the second encoder; only their shape in volts is made here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.model import AnalogLine, Role
from tests.reference.second_encoder import Packet, bmc_edges, packet_bits

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Scope:
    """How the line and the instrument behave.

    ``idle_v``: what Rp and Rd make of the line while nobody drives. ``rise_s``: 10 % to 90 % edge time.
    ``noise_v``: rms of white noise on every sample. ``lead_s``: the driver holds low this long before the first
    bit. ``release_s``: the line takes this long from low to its idle level. ``drive_v``: the driven high level.
    """

    idle_v: float
    rate_hz: float
    rise_s: float = 400e-9
    noise_v: float = 0.030
    lead_s: float = 2e-6
    release_s: float = 3e-6
    drive_v: float = 1.1
    seed: int = 1


def breakpoints(packets: Sequence[Packet], scope: Scope) -> list[tuple[float, float]]:
    """Corners of the line in (seconds, volts), without noise."""
    ramp = scope.rise_s / 0.8
    corners = [(0.0, scope.idle_v)]

    def move(at_s: float, to_v: float, took_s: float) -> None:
        corners.append((at_s - took_s / 2, corners[-1][1]))
        corners.append((at_s + took_s / 2, to_v))

    for packet in packets:
        move(packet.start_s - scope.lead_s, 0.0, ramp)
        edges = bmc_edges(packet_bits(packet.payload, packet.sop), packet.start_s, packet.rate_bps, 0)
        for time_s, level in edges:
            move(time_s, scope.drive_v * level, ramp)
        last_s, level = edges[-1]
        if level:
            last_s += 1.0 / packet.rate_bps
            move(last_s, 0.0, ramp)
        move(last_s + 4e-6, scope.idle_v, scope.release_s)
    return corners


def sampled(corners: Sequence[tuple[float, float]], scope: Scope, end_s: float) -> tuple[Floats, Floats]:
    """Times and volts of every sample up to ``end_s``."""
    times = np.arange(int(end_s * scope.rate_hz)) / scope.rate_hz
    at, volts = zip(*corners, strict=True)
    clean = np.interp(times, at, volts)
    return times, clean + np.random.default_rng(scope.seed).normal(0.0, scope.noise_v, len(times))


def scope_line(
    packets: Sequence[Packet], scope: Scope, *, end_s: float | None = None, name: str = "CC1", role: Role = Role.CC1
) -> AnalogLine:
    """The packets as a line in volts, to half a millisecond after the last of them unless ``end_s`` says."""
    if end_s is None:
        end_s = packets[-1].end_s + 0.5e-3
    times, volts = sampled(breakpoints(packets, scope), scope, end_s)
    return AnalogLine(name, role, "V", times, volts)
