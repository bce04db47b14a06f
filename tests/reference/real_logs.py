"""Two logs of real negotiations as waveforms, so that the verdict is also tried on what real ports said.

The headers, times and (in the second) objects are those of `real_log_1.csv` and `real_log_2.csv`. What the
first log does not hold in hex is built from its words: the letters SHU of its offer are the USB suspend bit
(S and H share bit 28) and the USB communications bit, from memory of the Linux kernel's log format.
"""

from __future__ import annotations

import csv
import random
from dataclasses import dataclass
from pathlib import Path

from tests.reference import words
from tests.reference.second_encoder import LineManners, Packet, render
from tests.reference.wave_files import Capture

HERE = Path(__file__).parent
LOGS = ("real_log_1", "real_log_2")

_LOG_1_OBJECTS = {
    0x1161: [words.fixed(5000, 3000, flags=words.SUSPEND | words.SRC_USB_COMM)],
    0x1042: [words.request_fixed(1, 3000, 3000, flags=words.USB_COMM)],
    0x176F: [0xFF008001],
    # one object only, so it cannot be an ACK (which has an ID header as well): NAK
    0x124F: [words.vdm_header(0xFF00, 1, 2)],
}


@dataclass(frozen=True)
class Line:
    """One line of a log."""

    t_s: float
    sent_by: str
    header: int
    objects: list[int]


def read_log(name: str) -> list[Line]:
    """The lines of a log, objects filled in."""
    text = (HERE / f"{name}.csv").read_text().splitlines()
    rows = csv.DictReader(line for line in text if not line.startswith("#"))
    lines = []
    for row in rows:
        head = int(row["header_hex"], 16)
        if "objects_hex" in row:
            objects = [int(word, 16) for word in (row["objects_hex"] or "").split()]
        else:
            objects = _LOG_1_OBJECTS.get(head, [])
        lines.append(Line(float(row["t_s"]), row["sent_by"], head, objects))
    return lines


def log_packets(name: str, *, with_goodcrc: bool, rng: random.Random, rate_bps: float = 300e3) -> list[Packet]:
    """The packets of a log; a sent message that was queued too early starts when the line is free.

    Without `with_goodcrc` they are exactly what the log holds; with it, every message is acknowledged within
    tTransmit, by the GoodCRC of the log where it has one.
    """
    packets: list[Packet] = []
    free_s = 0.0
    lines = read_log(name)
    for line in lines:
        is_ack = line.header & 0xF01F == 1
        if is_ack and with_goodcrc:
            continue  # put right behind its message below
        start = max(line.t_s, free_s + (0.3e-3 if with_goodcrc else 0.9e-3))
        packet = Packet(start, line.sent_by, words.payload(line.header, line.objects), "SOP", rate_bps, "")
        packets.append(packet)
        free_s = packet.end_s
        if with_goodcrc:
            ack = _goodcrc_for(line, lines)
            start = packet.end_s + rng.uniform(30e-6, 190e-6)
            by = "sink" if line.sent_by == "source" else "source"
            packets.append(Packet(start, by, words.payload(ack), "SOP", rate_bps, "GoodCRC"))
            free_s = packets[-1].end_s
    return packets


def _goodcrc_for(line: Line, lines: list[Line]) -> int:
    message_id = line.header >> 9 & 7
    for other in lines:
        same = other.header & 0xF01F == 1 and other.header >> 9 & 7 == message_id
        if same and other.sent_by != line.sent_by:
            return other.header
    # the partner's roles: the other power role and the other data role; the message's own revision
    roles = (~line.header) & 0x0120
    return 1 | roles | (line.header & 0x00C0) | message_id << 9


def log_capture(name: str, *, with_goodcrc: bool, seed: int, manners: LineManners, rate_bps: float) -> Capture:
    """A capture that begins a little before the log's first message."""
    rng = random.Random(f"{name}/{seed}")
    packets = log_packets(name, with_goodcrc=with_goodcrc, rng=rng, rate_bps=rate_bps)
    wave = render(packets, manners, rng, end_s=packets[-1].end_s + 0.05)
    return Capture(wave.window(packets[0].start_s - 0.05, wave.end_s))
