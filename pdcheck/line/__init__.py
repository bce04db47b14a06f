"""Edges to packets: bursts, clock recovery, BMC, 4b5b, ordered sets, CRC; and how good the signal was.

Why it is: every accusation rests on packets that were really sent. This room says which were, which broke
and why, and where something was sent that the capture cannot show.
"""

from pdcheck.line.model import Burst, Crc, LineReading, Packet, Problem, SignalQuality
from pdcheck.line.reading import read_capture

__all__ = ["Burst", "Crc", "LineReading", "Packet", "Problem", "SignalQuality", "read_capture"]
