"""Which block of the charging path is cleared, suspect or untouched, by which evidence, and what splits the rest.

Why it is: a capture, a meter and the contacts each see a part of the path. One reasoning joins what they saw, so that
no block is replaced that something has already cleared.
"""

from pdcheck.triage.from_capture import capture_evidence
from pdcheck.triage.model import Block, BlockResult, BlockState, Evidence, Measurement, Source, Strength, Triage
from pdcheck.triage.reason import triage

__all__ = [
    "Block", "BlockResult", "BlockState", "Evidence", "Measurement", "Source", "Strength", "Triage",
    "capture_evidence", "triage",
]
