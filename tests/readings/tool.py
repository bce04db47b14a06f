"""The commands as a user meets them, for the tests of this folder."""

from __future__ import annotations

import json
from typing import Any

from click.testing import CliRunner, Result

from pdcheck.cli import main


def run(*arguments: str, stdin: str | bytes | None = None) -> Result:
    """A command's result; an error that escapes is raised again."""
    result = CliRunner().invoke(main, list(arguments), input=stdin)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


def measure(*arguments: str) -> tuple[int, dict[str, Any]]:
    """Exit status and JSON of ``pdcheck measure``."""
    result = run("measure", *arguments, "--json")
    assert result.stderr == "", result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return result.exit_code, found


def rules(out: dict[str, Any]) -> list[str]:
    """The rules of the findings, in their order."""
    return [f["rule"] for f in out["findings"]]


def blocks(out: dict[str, Any], state: str) -> set[str]:
    """The blocks in one state."""
    return {b["block"] for b in out["blocks"] if b["state"] == state}
