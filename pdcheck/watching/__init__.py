"""The watching room: a folder looked at again and again, and each finished capture judged once.

Why it is: at the bench the analyzer's program saves into a folder; the verdict should be there without another command.
It polls rather than asks the system for events: that works the same on every system, on shares and on memory sticks,
and a folder of captures is small.
"""

from __future__ import annotations

from pdcheck.watching.folder import FolderGone, Stamp, look
from pdcheck.watching.judge import Judged, judge_file
from pdcheck.watching.settled import Settling

__all__ = ["FolderGone", "Judged", "Settling", "Stamp", "judge_file", "look"]
