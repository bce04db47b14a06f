"""Leaves the `long` tests of this folder out of a run that does not ask for them with -m."""

from __future__ import annotations

from pathlib import Path

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Deselect what is marked long and stands here, unless a mark expression was given."""
    if config.option.markexpr:
        return
    here = Path(__file__).parent
    left_out = [item for item in items if here in item.path.parents and item.get_closest_marker("long")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
