"""One browser for all tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.page.browser import MISSING, Browser, browser, present


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    if not present():
        pytest.skip(MISSING)
    with browser(Path(tmp_path_factory.mktemp("profile"))) as one:
        yield one
