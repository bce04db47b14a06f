"""How many packets come through a poor capture: slow sampling, a threshold off the middle, jitter, spikes.

    python -m tests.line.poor_captures [--count 200] [--seeds 5] [--spread 0.08]

prints a table: for every row the share over all seeds and the worst seed. Half of the packets are GoodCRC; idle
levels and the driver's way of turning on are mixed.
"""

from __future__ import annotations

import argparse
import random
from dataclasses import dataclass, replace

from pdcheck.line import read_capture
from tests.line.waves import came_through, capture, digital, made_up, talk
from tests.reference.second_encoder import Flaws, LineManners, Packet, render

SPIKES_EACH = 3


@dataclass(frozen=True)
class Row:
    """One kind of poor capture and the share of packets that must come through.

    ``skew_s``: by how much low pulses are longer than their true length (and high ones shorter). ``jitter_s``: rms,
    on every edge. ``spike_s``: width of pulses that invert the line, a few in every packet; 0 for none.
    """

    name: str
    rate_hz: float
    skew_s: float
    jitter_s: float
    goal: float
    spike_s: float = 0.0


ROWS = (
    Row("8 MS/s, skew +1.3 us, jitter 20 ns", 8e6, 1.3e-6, 20e-9, 1.0),
    Row("8 MS/s, skew -1.3 us, jitter 20 ns", 8e6, -1.3e-6, 20e-9, 1.0),
    Row("4 MS/s, skew +0.9 us, jitter 20 ns", 4e6, 0.9e-6, 20e-9, 1.0),
    Row("4 MS/s, skew -0.9 us, jitter 20 ns", 4e6, -0.9e-6, 20e-9, 1.0),
    Row("2 MS/s, skew +0.7 us, jitter 20 ns", 2e6, 0.7e-6, 20e-9, 0.98),
    Row("2 MS/s, skew -0.7 us, jitter 20 ns", 2e6, -0.7e-6, 20e-9, 0.98),
    Row("1.5 MS/s, skew +0.2 us, jitter 10 ns", 1.5e6, 0.2e-6, 10e-9, 0.95),
    Row("1.5 MS/s, skew -0.2 us, jitter 10 ns", 1.5e6, -0.2e-6, 10e-9, 0.95),
    Row("1 MS/s, no skew, jitter 5 ns", 1e6, 0.0, 5e-9, 0.90),
    Row("12 MS/s, no skew, jitter 150 ns", 12e6, 0.0, 150e-9, 1.0),
    Row("12 MS/s, skew +0.6 us, jitter 120 ns", 12e6, 0.6e-6, 120e-9, 0.98),
    Row("12 MS/s, skew -0.6 us, jitter 120 ns", 12e6, -0.6e-6, 120e-9, 0.98),
    Row("24 MS/s, no skew, jitter 200 ns", 24e6, 0.0, 200e-9, 0.97),
    Row("24 MS/s, 80 ns spikes, skew +0.2 us, jitter 20 ns", 24e6, 0.2e-6, 20e-9, 0.95, 80e-9),
    Row("24 MS/s, 80 ns spikes, skew -0.2 us, jitter 20 ns", 24e6, -0.2e-6, 20e-9, 0.95, 80e-9),
)


def spiked(packet: Packet, width_s: float, rng: random.Random, each: int = SPIKES_EACH) -> Packet:
    """The packet with spikes anywhere in it."""
    length = packet.end_s - packet.start_s
    return replace(packet, flaws=Flaws(spikes=tuple((rng.uniform(0, length), width_s) for _ in range(each))))


def measure(
    row: Row, count: int, seed: int, *, spread: float = 0.08, spikes: int = SPIKES_EACH, idle: int | None = None
) -> tuple[float, int]:
    """Share of ``count`` packets that came through, and how many whole packets were read that nobody sent."""
    rng = random.Random(seed)
    packets = talk(count, rng, spread=spread)
    if row.spike_s:
        packets = [spiked(packet, row.spike_s, rng, spikes) for packet in packets]
    level = seed % 2 if idle is None else idle
    manners = LineManners(idle=level, skew_s=row.skew_s, jitter_s=row.jitter_s, start="mixed")
    end_s = packets[-1].end_s + 1e-3
    wave = render(packets, manners, rng, end_s=end_s).sampled(row.rate_hz)
    got = read_capture(capture(digital(wave), duration_s=end_s, period_s=1 / row.rate_hz)).packets
    return sum(came_through(packets, got)) / count, len(made_up(packets, got))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200, help="packets for a row and seed")
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--spread", type=float, default=0.08, help="how much the bit rates differ altogether")
    parser.add_argument("--spikes", type=int, default=SPIKES_EACH, help="spikes in every packet, where there are any")
    options = parser.parse_args()
    print(f"| {'capture':50} | goal | share | worst seed | made up |")
    print(f"| {'-' * 50} | ---: | ----: | ---------: | ------: |")
    for row in ROWS:
        found = [
            measure(row, options.count, seed, spread=options.spread, spikes=options.spikes)
            for seed in range(options.seeds)
        ]
        shares = [share for share, _ in found]
        mean, worst = sum(shares) / len(shares), min(shares)
        print(f"| {row.name:50} | {row.goal:.0%} | {mean:.2%} | {worst:.1%} | {sum(n for _, n in found)} |")


if __name__ == "__main__":
    main()
