"""What commands say: the same as JSON for scripts, plain when piped, coloured on a terminal; completion."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest
from typer.testing import CliRunner

from nestkit.build.starter import write_starter
from nestkit.cli import app
from nestkit.guide import page
from tests.same_process import nestkit


@pytest.fixture
def lantern(tmp_path: Path) -> Path:
    write_starter(tmp_path)
    return tmp_path


def on_terminal(*arguments: str, cwd: Path) -> str:
    """What a command prints to a terminal."""
    near, far = pty.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "120"}
    environment.pop("NO_COLOR", None)
    with subprocess.Popen(
        [sys.executable, "-m", "nestkit", *arguments], cwd=cwd, stdout=far, stderr=far, env=environment
    ):
        os.close(far)
        told = b""
        with suppress(OSError):  # how Linux says that the far end is closed
            while chunk := os.read(near, 4096):
                told += chunk
    os.close(near)
    return told.decode()


def test_parts_as_json_say_what_the_table_says(lantern: Path) -> None:
    done = nestkit("parts", "build.toml", "--json", cwd=lantern)
    data = json.loads(done.stdout)
    assert [(part["part"], part["copies"], part["spares"], part["cut_by"]) for part in data["parts"]] == [
        ("bracket", 2, 0, "laser"),
        ("collar", 4, 1, "laser"),
    ]
    assert (data["parts"][1]["width_mm"], data["parts"][1]["thickness_mm"]) == (80.0, 4.0)
    assert "bracket" in done.stderr
    table = nestkit("parts", "build.toml", cwd=lantern).stdout
    assert "\x1b" not in table
    assert all(line == line.rstrip() for line in table.splitlines())
    head, first, *_ = table.splitlines()
    assert first.index("laser") == head.index("cut by")


def test_parts_tell_their_holding_tabs(lantern: Path) -> None:
    file = lantern / "build.toml"
    text = file.read_text("utf-8")
    assert text.count("\ntabs = 0 ") == 1
    file.write_text(text.replace("\ntabs = 0 ", "\ntabs_up_to = 90\ntabs = 2 "), "utf-8")
    parts = json.loads(nestkit("parts", "build.toml", "--json", cwd=lantern).stdout)["parts"]
    small = [part["part"] for part in parts if max(part["width_mm"], part["height_mm"]) <= 90.0]
    assert small
    assert [part["part"] for part in parts if part["tabs"] == 2] == small
    assert nestkit("parts", "build.toml", cwd=lantern).stdout.count("2 holding tabs") == len(small)


def test_plan_as_json_says_what_was_written(lantern: Path) -> None:
    done = nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", "--json", cwd=lantern)
    data = json.loads(done.stdout)
    written = json.loads((lantern / "out" / "plan.json").read_bytes())
    assert data["groups"] == written["groups"]
    assert data["cost"] == sum(group["cost"] for group in written["groups"])
    assert [sheet["job"] for sheet in data["sheets"]] == [sheet["job"] for sheet in written["sheets"]]
    assert data["check"]["ok"] is True
    assert data["unplaced"] == []
    assert all(caution["source"] for caution in data["cautions"])
    assert (done.returncode, "all is right" in done.stderr) == (0, True)


def test_a_plan_of_nothing_says_so_as_json_too(lantern: Path) -> None:
    done = nestkit("plan", "build.toml", "--rounds", 1, "--scale", 40, "--json", cwd=lantern)
    data = json.loads(done.stdout)
    assert (done.returncode, data["folder"], data["check"]) == (1, None, None)
    assert len(data["unplaced"]) == 6
    assert "list more or larger sheets" in done.stderr


def test_plan_ends_with_cautions_for_its_material_and_cutter(lantern: Path) -> None:
    laser = nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", cwd=lantern).stdout
    assert "caution: Never leave a running laser" in laser
    assert "vinyl acetate" in laser
    assert laser.splitlines()[-1].startswith("check: all is right")
    text = (lantern / "build.toml").read_text()
    (lantern / "build.toml").write_text(text.replace('kind = "laser"', 'kind = "knife"'))
    knife = nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", cwd=lantern).stdout
    assert "laser" not in knife.replace("the cut", "")
    assert "Cautions stand in" in knife


def test_tables_are_coloured_on_a_terminal(lantern: Path) -> None:
    assert "\x1b[1m" in on_terminal("parts", "build.toml", cwd=lantern)
    shown = on_terminal("guide", "folds", cwd=lantern)
    assert "\x1b[" in shown
    assert "```" not in shown


@pytest.mark.parametrize(
    ("words", "wanted"), [("nestkit g", {"guide"}), ("nestkit guide o", {"offcuts", "output"})]
)
def test_the_shell_completes_commands_and_topics(words: str, wanted: set[str]) -> None:
    asked = {
        "_NESTKIT_COMPLETE": "complete_bash",
        "COMP_WORDS": words,
        "COMP_CWORD": str(len(words.split()) - 1),
    }
    done = CliRunner().invoke(app, [], prog_name="nestkit", env=asked)
    assert set(done.output.split()) == wanted


def test_parts_show_folds_marks_and_holes(tmp_path: Path) -> None:
    """The drawing of the handbook's page on drawings: a plate with a hole, a mark and a square fold."""
    fence = r"^```\w+ ?(\S*)\n(.*?)^```"
    fences = re.findall(fence, page("drawings"), re.MULTILINE | re.DOTALL)
    (tmp_path / "sign.svg").write_text(next(text for name, text in fences if name == "sign.svg"))
    parts = next(text for _, text in fences if text.startswith("[[part]]"))
    head = '[build]\nname = "Sign"\n[cutter]\nkind = "knife"\nbed = [600, 400]\n'
    sheet = "[[sheet]]\nthickness = 6\nsize = [600, 400]\n"
    (tmp_path / "build.toml").write_text(head + sheet + parts)
    done = nestkit("parts", "build.toml", "--json", cwd=tmp_path)
    plate, strip = json.loads(done.stdout)["parts"]
    assert (plate["holes"], plate["marks"], plate["folds_deg"], plate["bevels_deg"]) == (1, 1, [90.0], [])
    assert (strip["holes"], strip["marks"], strip["folds_deg"]) == (0, 0, [])
    assert re.search(r"^plate .*1 hole, 1 fold 90°, 1 mark$", done.stderr, re.MULTILINE)
