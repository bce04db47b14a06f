"""What each demo capture clears and points at, and that a capture that cannot tell points at nothing."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pdcheck import check, decode, open_capture
from pdcheck.cli import main
from pdcheck.report.blocks_text import MOST_LINES, blocks_lines
from pdcheck.triage import Block, BlockState

DEMO = Path(__file__).parents[2] / "captures" / "demo"
TALK = {"negotiating_chip", "chip_supply"}
LINE = {"port_contacts", "cc_path"}


def index() -> list[dict[str, str]]:
    with (DEMO / "index.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def report(path: Path) -> dict[str, Any]:
    result = CliRunner().invoke(main, ["decode", "--json", str(path)])
    assert result.exit_code != 2, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def blocks(out: dict[str, Any], state: str) -> set[str]:
    return {b["block"] for b in out["blocks"] if b["state"] == state}


@pytest.mark.parametrize(("name", "cleared", "suspect"), [
    ("tablet_never_acknowledges.csv", {"charger"}, LINE | TALK),
    ("tablet_acknowledges_wrong.csv", {"charger"} | LINE, TALK),
    ("tablet_never_asks.csv", {"charger"} | LINE, TALK),
    ("tablet_asks_too_late.csv", {"charger"} | LINE, TALK),
    ("charger_never_hears_request.csv", LINE | {"chip_supply"}, {"charger", "cable"}),
    ("charger_never_answers.vcd", LINE | TALK, {"charger"}),
    ("charger_refuses.csv", LINE | TALK, {"charger"}),
    ("scanner_asks_too_much.csv", {"charger"} | LINE, TALK),
    ("charger_never_ready.csv", {"cc_path"} | TALK, {"charger", "cable", "port_contacts", "vbus_switch"}),
    ("charger_stays_at_5v.csv", {"cc_path"} | TALK, {"charger", "cable", "port_contacts", "vbus_switch"}),
    ("tablet_forgets_pps.csv", {"charger", "cable"} | LINE, TALK | {"charger_stage"}),
    ("scanner_charges_at_9v.csv", {b.value for b in Block}, set()),
    ("tablet_wants_more.csv", LINE | TALK, set()),
    ("tablet_pps_keep_alive.csv", {b.value for b in Block}, set()),
])
def test_the_demo_captures(name: str, cleared: set[str], suspect: set[str]) -> None:
    out = report(DEMO / name)
    assert blocks(out, "cleared") == cleared
    assert blocks(out, "suspect") == suspect
    assert blocks(out, "disputed") == set()


@pytest.mark.parametrize("row", index(), ids=[row["file"] for row in index()])
def test_every_demo_capture(row: dict[str, str]) -> None:
    found = check(decode(open_capture(str(DEMO / row["file"]))))
    if row["verdict"].startswith("inconclusive"):
        assert found.blocks.of(BlockState.SUSPECT) == (), "a capture that cannot tell points at nothing"
    if row["verdict"] == "pass":
        assert {Block.PORT, Block.CC_PATH, Block.CHIP} <= set(found.blocks.of(BlockState.CLEARED))
    if row["suspect"] == "sink":
        assert Block.CHARGER not in found.blocks.of(BlockState.SUSPECT)
    if row["suspect"] == "source":
        assert Block.CHIP not in found.blocks.of(BlockState.SUSPECT)
    assert len(blocks_lines(found.blocks, 80)) <= MOST_LINES


def longer(current_a: float, tmp_path: Path) -> Path:
    """The demo capture of a good 9 V contract, held for two more seconds at another current."""
    lines = (DEMO / "scanner_charges_at_9v.csv").read_text(encoding="utf-8").splitlines()
    last = float(lines[-1].split(",")[0])
    lines += [f"{last + n * 0.01:.9f},0,9.04,{current_a:.3f}" for n in range(1, 201)]
    path = tmp_path / "held.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_9_v_and_30_ma_clear_port_and_chip_and_leave_what_is_behind(tmp_path: Path) -> None:
    path = longer(0.030, tmp_path)
    out = report(path)
    assert out["verdict"] == "pass"
    assert blocks(out, "cleared") == {"charger", "cable"} | LINE | TALK
    assert blocks(out, "suspect") == {"vbus_switch", "charger_stage", "battery"}
    text = CliRunner().invoke(main, ["decode", str(path)]).stdout
    head = " ".join(text.split("\n\n")[0].split())
    assert "Cleared: charger, cable, port contacts, CC path and protection, negotiating chip" in head
    assert "Left: VBUS switch, charger stage, battery." in head
    assert "only 30 mA is drawn" in text


def test_a_current_that_charges_clears_the_rest(tmp_path: Path) -> None:
    assert blocks(report(longer(1.7, tmp_path)), "cleared") == {b.value for b in Block}
    assert blocks(report(longer(-1.7, tmp_path)), "cleared") == {b.value for b in Block}, "a clamp put on backwards"


def test_a_short_capture_shows_that_it_charges_and_never_that_it_does_not(tmp_path: Path) -> None:
    demo = DEMO / "scanner_charges_at_9v.csv"
    assert blocks(report(demo), "cleared") == {b.value for b in Block}
    assert any("It charges in this capture: 1.7" in step for step in report(demo)["next"])
    assert not any("Still not charging" in step for step in report(demo)["next"])
    text = demo.read_text(encoding="utf-8").splitlines()
    weak = tmp_path / "weak.csv"
    weak.write_text("\n".join([text[0], *(line.rsplit(",", 1)[0] + ",0.030" for line in text[1:])]), encoding="utf-8")
    assert blocks(report(weak), "untouched") == {"vbus_switch", "charger_stage", "battery"}
    assert any("Still not charging" in step for step in report(weak)["next"])


def test_a_current_between_points_at_nothing(tmp_path: Path) -> None:
    out = report(longer(0.3, tmp_path))
    assert blocks(out, "suspect") == set()
    assert blocks(out, "untouched") == {"vbus_switch", "charger_stage", "battery"}


def test_the_shape_in_the_report() -> None:
    out = report(DEMO / "tablet_never_asks.csv")
    assert [b["block"] for b in out["blocks"]] == [b.value for b in Block]
    for block in out["blocks"]:
        assert set(block) == {"block", "state", "evidence"}
        assert bool(block["evidence"]) == (block["state"] != "untouched")
        for one in block["evidence"]:
            assert set(one) == {"source", "says", "strength", "text"}
