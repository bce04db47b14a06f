"""The way back: a written conversation to a waveform file. For the demo, for teaching, for tests.

Why it is: a technician learns from captures whose fault is known, and so do the tests. The room shares the numbers
of the standard and the message layouts with the checker, and nothing else of it.
"""

from __future__ import annotations

import os
from pathlib import Path

from pdcheck.errors import ScenarioError
from pdcheck.synth.files import file_bytes
from pdcheck.synth.model import Scenario
from pdcheck.synth.player import Performance, play
from pdcheck.synth.reader import parse_scenario, read_scenario

__all__ = ["Performance", "Scenario", "file_bytes", "parse_scenario", "play", "read_scenario", "write_scenario"]


def write_scenario(scenario_path: str, out_path: str | None = None) -> list[str]:
    """Write the waveform file of a scenario.

    :param out_path: where to; a folder takes the scenario's own file name. Without it the file goes beside the
        scenario, under the name that the scenario gives (or its own with ``.csv``). The suffix decides the form:
        ``.csv`` or ``.vcd``, each with ``.gz`` if wanted.
    :returns: the paths written.
    :raises ScenarioError: the scenario cannot be used, or the file cannot be written.
    """
    folder = Path(scenario_path).parent
    named: Path | None = None
    if out_path is not None and os.path.isdir(out_path):  # noqa: PTH112 (Path.is_dir raises on names too long)
        folder = Path(out_path)
    elif out_path is not None:
        named = Path(out_path)
    scenario = read_scenario(scenario_path, None if named is None else named.name)
    target = named or folder / scenario.output.name
    data = file_bytes(scenario, play(scenario))
    try:
        if target.exists() and target.samefile(scenario_path):
            raise ScenarioError(
                "the waveform would overwrite the scenario", "write it elsewhere with -o", path=scenario_path
            )
        target.write_bytes(data)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ScenarioError(f"cannot be written ({reason})", "name another place with -o", path=str(target)) from None
    return [str(target)]
