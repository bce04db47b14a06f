"""What holds for all tests: hypothesis sets no time limit on a single example, for a test says nothing of speed."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
