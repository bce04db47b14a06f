"""Files to named lines: digital edges or analog values on one time base.

Why it is: whatever an analyzer or a scope exports, the rooms above see one small object
(:class:`~pdcheck.capture.model.Capture`). This room knows file formats and nothing of what the lines carry.

Reading is streaming: memory grows with the changes in a file, not with its size or its silences, so a pipe
works as a file does. A new format is one module and one entry in :data:`pdcheck.capture.registry.FORMATS`,
or an entry point of the group ``pdcheck.captures`` in somebody else's package.
"""

from __future__ import annotations

from pdcheck.capture.model import AnalogLine, Capture, DigitalLine, Line, Role
from pdcheck.capture.registry import open_capture

__all__ = ["AnalogLine", "Capture", "DigitalLine", "Line", "Role", "open_capture"]
