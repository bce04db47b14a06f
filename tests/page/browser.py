"""Debian's chromium, headless, for the tests of this folder.

It is driven through its own chromedriver; nothing is fetched for it. Where it is not installed the tests that need it
are skipped, and say so.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

CHROMIUM, DRIVER = Path("/usr/bin/chromium"), Path("/usr/bin/chromedriver")
MISSING = "needs Debian's chromium and chromium-driver: apt-get install chromium chromium-driver"
_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage",
)


def present() -> bool:
    """Whether the browser and its driver are installed."""
    return CHROMIUM.exists() and DRIVER.exists()


class Browser:
    """One browser; :meth:`open` shows a page at a width, with colours and scripts as asked for."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def cdp(self, command: str, **arguments: Any) -> Any:
        return self.driver.execute_cdp_cmd(command, arguments)

    def open(
        self, page: Path, *, width: int = 1280, dark: bool = False, still: bool = True, scripts: bool = True
    ) -> None:
        """Show a file; what the logs held before is forgotten. ``still``: the user wants little motion."""
        self.cdp("Emulation.setScriptExecutionDisabled", value=not scripts)
        self.cdp("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=width < 600)
        self.cdp("Emulation.setEmulatedMedia", features=[
            {"name": "prefers-color-scheme", "value": "dark" if dark else "light"},
            {"name": "prefers-reduced-motion", "value": "reduce" if still else "no-preference"},
        ])
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.driver.get(page.as_uri())

    def run(self, script: str, *arguments: object) -> Any:
        return self.driver.execute_script(script, *arguments)

    def wait(self, condition: str) -> Any:
        """The value of a JavaScript expression as soon as it is true; an assertion fails where it never is."""
        value = self.driver.execute_async_script(
            "const done = arguments[arguments.length - 1]; let left = 300;"
            f"(function look() {{ const v = {condition};"
            " if (v || --left < 0) done(v); else setTimeout(look, 20); })();"
        )
        assert value, condition
        return value

    def complaints(self) -> list[str]:
        """What the console said since the page was opened: errors, warnings, what the policy forbade."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def requests(self) -> list[str]:
        """Every address that was asked for since the page was opened, by the browser's own log of the network."""
        messages = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        return [
            message["params"]["request"]["url"] for message in messages
            if message["method"] == "Network.requestWillBeSent"
        ]

    def pdf(self, target: Path, *, width_in: float, height_in: float) -> None:
        """Print the page that is shown, as a user would: no backgrounds."""
        printed = self.cdp("Page.printToPDF", paperWidth=width_in, paperHeight=height_in, printBackground=False)
        target.write_bytes(base64.b64decode(printed["data"]))


@contextmanager
def browser(profile: Path) -> Iterator[Browser]:
    """A browser with a fresh profile."""
    options = Options()
    options.binary_location = str(CHROMIUM)
    for flag in (*_FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(str(DRIVER)))
    try:
        yield Browser(driver)
    finally:
        driver.quit()
