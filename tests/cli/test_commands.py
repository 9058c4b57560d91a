"""The commands as a maker runs them: what they say, what they write, their exit codes."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from nestkit.checking import CODES
from nestkit.guide import TOPICS
from tests.same_process import nestkit

SMALL = """\
[build]
name = "Harbour sign"

[layout]
gap = 2
margin = 5

[cutter]
kind = "laser"
bed = [600, 400]
kerf = 0.2

[[sheet]]
material = "eva"
thickness = 6
size = [300, 200]
price = 4.5

[[assembly]]
name = "sign"

[[part]]
name = "plate"
from = "sign.svg#plate"
thickness = 6
quantity = 2
mirrored_pairs = true
assembly = "sign"

[[part]]
name = "knob"
from = "sign.svg#knob"
thickness = 6
quantity = 4
"""

DRAWING = """\
<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="200mm" viewBox="0 0 300 200">
  <g id="plate">
    <path d="M10,10 H110 V60 L10,90 Z"/>
    <circle cx="40" cy="40" r="15"/>
  </g>
  <circle id="knob" cx="200" cy="50" r="12"/>
</svg>
"""


@pytest.fixture
def sign(tmp_path) -> Path:
    (tmp_path / "build.toml").write_text(SMALL)
    (tmp_path / "sign.svg").write_text(DRAWING)
    return tmp_path


def tree(folder: Path) -> dict[str, bytes]:
    return {str(f.relative_to(folder)): f.read_bytes() for f in sorted(folder.rglob("*")) if f.is_file()}


def test_templates_as_the_command_line_says(sign):
    """A laser cuts both parts, so that there are templates only when they are asked for."""
    out = sign / "out"
    plain = nestkit("plan", "build.toml", "--out", out, "--rounds", "2", cwd=sign)
    assert plain.returncode == 0, plain.stderr
    assert "templates for" not in plain.stdout
    assert not (out / "templates.pdf").exists()
    asked = nestkit(
        "plan", "build.toml", "--out", out, "--rounds", "2", "--templates", "all", "--paper", "a3", cwd=sign
    )
    assert asked.returncode == 0, asked.stderr
    assert "templates.pdf: true-size templates for all parts, 2 pages of A3; print at 100 %" in asked.stdout
    assert "check: all is right" in asked.stdout
    facts = json.loads((out / "plan.json").read_bytes())["templates"]
    assert (facts["which"], facts["parts"], facts["left_out"]) == ("all", ["plate", "knob"], [])
    # What an earlier plan left there goes with it.
    again = nestkit("plan", "build.toml", "--out", out, "--rounds", "2", "--templates", "none", cwd=sign)
    assert again.returncode == 0, again.stderr
    assert not (out / "templates.pdf").exists()


def test_help_and_version_need_nothing_heavy():
    heavy = ["shapely", "numpy", "ezdxf", "pydantic", "pyclipper", "rich", "svgelements", "jinja2"]
    code = f"import sys, nestkit.cli; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    # As a program of its own: this is how it is begun by a maker.
    command = [sys.executable, "-m", "nestkit", "--help"]
    shown = subprocess.run(command, capture_output=True, text=True, check=True)
    assert all(word in shown.stdout for word in ("new", "parts", "plan", "check", "schema"))
    assert nestkit("--version").stdout.startswith("nestkit ")


def test_from_an_empty_folder_to_a_checked_plan(tmp_path):
    assert nestkit("new", "buoy", cwd=tmp_path).returncode == 0
    listed = nestkit("parts", "buoy/build.toml", cwd=tmp_path)
    assert listed.returncode == 0
    assert "copies" in listed.stdout
    planned = nestkit("plan", "buoy/build.toml", "--rounds", 3, cwd=tmp_path)
    assert planned.returncode == 0, planned.stdout + planned.stderr
    assert "all is right" in planned.stdout
    assert nestkit("check", "out/buoy", cwd=tmp_path).returncode == 0
    again = nestkit("new", "buoy", cwd=tmp_path)
    assert again.returncode == 2
    assert "build.toml" in again.stderr


def test_a_plan_counts_what_was_mended_and_tells_what_was_not(sign):
    """A gap in an outline is told by 'parts' alone; a page without a unit asks for something, and by both."""
    torn = DRAWING.replace("L10,90 Z", "L10,90 V10.05").replace('width="300mm" height="200mm" ', "")
    (sign / "sign.svg").write_text(torn)
    gap, unit = "in an outline was closed (mended)", "sign.svg: the drawing doesn't say how large it is"
    listed = nestkit("parts", "build.toml", cwd=sign).stdout
    assert gap in listed
    planned = nestkit("plan", "build.toml", "--rounds", "1", cwd=sign).stdout
    assert gap not in planned
    assert "1 small flaw was mended; listed by: nestkit parts build.toml" in planned
    assert listed.count(unit) == planned.count(unit) == 1


def test_the_same_build_seed_and_rounds_give_the_same_bytes(sign):
    """In this process and in one of its own, whose hash seed is another; what they say is the same too."""
    words = ("plan", "build.toml", "--rounds", "8", "--out")
    here = nestkit(*words, "out0", cwd=sign)
    assert here.returncode == 0, here.stdout + here.stderr
    env = {**os.environ, "PYTHONHASHSEED": "77"}
    command = [sys.executable, "-m", "nestkit", *words, "out1"]
    done = subprocess.run(
        command, capture_output=True, text=True, cwd=sign, env=env, timeout=120, check=False
    )
    assert (done.returncode, done.stderr) == (0, here.stderr)
    assert done.stdout == here.stdout.replace("out0", "out1")
    assert tree(sign / "out0") == tree(sign / "out1")
    plan = json.loads((sign / "out0/plan.json").read_text())
    assert sum(len(sheet["parts"]) for sheet in plan["sheets"]) == 6


def test_a_wrong_build_file_writes_nothing(sign):
    (sign / "build.toml").write_text(
        SMALL.replace("quantity = 4", "quantitty = 4").replace("kerf = 0.2", "kerf = -1")
    )
    done = nestkit("plan", "build.toml", "--out", "out", cwd=sign)
    assert done.returncode == 2
    assert "Did you mean 'quantity'" in done.stderr
    assert "kerf" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (sign / "out").exists()


def test_a_chlorinated_sheet_is_refused_for_a_laser(sign):
    (sign / "build.toml").write_text(SMALL.replace('material = "eva"', 'material = "neoprene"'))
    done = nestkit("plan", "build.toml", cwd=sign)
    assert done.returncode == 2
    assert "neoprene" in done.stderr
    assert not (sign / "out").exists()


def test_a_part_that_fits_nowhere_is_named_and_the_rest_is_planned(sign):
    (sign / "build.toml").write_text(SMALL.replace("[build]", "[build]\nscale = 2.5"))
    done = nestkit("plan", "build.toml", "--rounds", 2, "--out", "out", cwd=sign)
    assert done.returncode == 1
    assert done.stdout.count("left out: plate, 2 copies: ") == 1
    assert "check: what was placed is right: 4 copies in 1 cutter file" in done.stdout
    assert json.loads((sign / "out/plan.json").read_text())["sheets"]


def test_somebody_elses_folder_is_left_alone(sign):
    (sign / "mine").mkdir()
    (sign / "mine/letter.txt").write_text("dear harbour master")
    done = nestkit("plan", "build.toml", "--rounds", 1, "--out", "mine", cwd=sign)
    assert done.returncode == 2
    assert "mine" in done.stderr
    assert tree(sign / "mine") == {"letter.txt": b"dear harbour master"}


def test_check_finds_what_was_changed_by_hand(sign):
    nestkit("plan", "build.toml", "--rounds", 2, "--out", "out", cwd=sign)
    job = next((sign / "out/jobs").glob("*.dxf"))
    job.write_text(job.read_text().replace("CUT_INSIDE", "CUT_OUTSIDE", 3))
    done = nestkit("check", "out", cwd=sign)
    assert done.returncode == 1
    assert job.name in done.stdout
    told = json.loads(nestkit("check", "out", "--json", cwd=sign).stdout)
    assert not told["ok"]
    assert {fault["code"] for fault in told["faults"]} <= set(CODES)
    assert all(f"fault: {fault['text']}" in done.stdout.splitlines() for fault in told["faults"])
    # Codes are for scripts; a maker reads sentences.
    assert not any(f"[{code}]" in done.stdout for code in CODES)
    assert nestkit("check", "nowhere", cwd=sign).returncode == 2


def test_ctrl_c_keeps_the_best_plan_beside_the_old_one(sign):
    pty = pytest.importorskip("pty", reason="a terminal is played here, which Windows has no module for")
    many = SMALL.replace("quantity = 4", "quantity = 40").replace("quantity = 2", "quantity = 12")
    (sign / "build.toml").write_text(many)
    assert nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", cwd=sign).returncode == 0
    before = tree(sign / "out")
    command = [sys.executable, "-m", "nestkit", "plan", "build.toml", "--seconds", "600", "--out", "out"]
    # On a terminal the search tells its rounds: the signal is sent when there is something to keep.
    terminal, far_end = pty.openpty()
    running = subprocess.Popen(command, cwd=sign, stdout=subprocess.PIPE, stderr=far_end)
    os.close(far_end)
    told = b""
    while b"round 2" not in told:
        told += os.read(terminal, 4096)
    running.send_signal(signal.SIGINT)
    with suppress(OSError):  # how Linux says that the far end is closed
        while chunk := os.read(terminal, 4096):
            told += chunk
    running.communicate(timeout=60)
    errors = told.decode(errors="replace")
    assert running.returncode == 130, errors
    assert tree(sign / "out") == before
    (kept,) = sign.glob("out-stopped-*")
    assert kept.name in errors.replace("\r\n", "")
    assert nestkit("check", kept, cwd=sign).returncode == 0


def test_ctrl_c_before_the_search_says_that_nothing_was_written(sign):
    code = (
        "import os, signal, nestkit.cli, nestkit.build as b\n"
        "b.load_build = lambda *_: os.kill(os.getpid(), signal.SIGINT)\n"
        "import sys; sys.argv = ['nestkit', 'plan', 'build.toml', '--out', 'out']; nestkit.cli.main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=sign, check=False)
    assert done.returncode == 130
    assert "Stopped; nothing was written." in done.stderr
    assert not (sign / "out").exists()


def test_ctrl_c_waits_while_files_are_written(sign):
    code = (
        "import os, signal, nestkit.cli, nestkit.output as o\n"
        "write = o.write_plan\n"
        "def slow(*a): os.kill(os.getpid(), signal.SIGINT); return write(*a)\n"
        "o.write_plan = slow\n"
        "import sys; sys.argv = ['nestkit', 'plan', 'build.toml', '--rounds', '1', '--out', 'out']\n"
        "nestkit.cli.main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=sign, check=False)
    assert done.returncode == 0, done.stderr
    assert "all is right" in done.stdout


def test_two_builds_do_not_share_a_default_folder(sign):
    (sign / "second.toml").write_text(SMALL.replace("Harbour sign", "Another"))
    folder = sign.name
    assert nestkit("plan", "build.toml", "--rounds", 1, cwd=sign).returncode == 0
    assert nestkit("plan", "second.toml", "--rounds", 1, cwd=sign).returncode == 0
    assert (sign / "out" / folder / "plan.json").exists()
    assert (sign / "out" / f"{folder}-second" / "plan.json").exists()
    (sign / "build.toml").write_text(SMALL.replace("Harbour sign", "Renamed"))
    done = nestkit("plan", "build.toml", "--rounds", 1, cwd=sign)
    assert done.returncode == 2
    assert "the plan of another build, 'Harbour sign'" in done.stderr


def test_a_plan_of_nothing_replaces_nothing(sign):
    assert nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", cwd=sign).returncode == 0
    before = tree(sign / "out")
    done = nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", "--scale", 40, cwd=sign)
    assert done.returncode == 1
    assert "nothing was written" in done.stdout
    assert tree(sign / "out") == before


def test_what_goes_to_the_hand_is_named(sign):
    (sign / "build.toml").write_text(SMALL.replace("bed = [600, 400]", "bed = [90, 60]"))
    done = nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", cwd=sign)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "cut by hand, too large for the bed: plate" in done.stdout


def test_the_schema_is_printed():
    done = nestkit("schema")
    assert json.loads(done.stdout)["properties"]["part"]


def test_more_turns_are_advised_only_where_they_help(sign):
    sheet, large = "size = [300, 200]", "size = [95, 120]"
    for turns, scale, advised in (
        ("none", 1, True),
        ("any", 1, False),
        ("none", 9, False),
        ("any", 9, False),
    ):
        plate = f'name = "plate"\nturns = "{turns}"'
        (sign / "build.toml").write_text(SMALL.replace('name = "plate"', plate).replace(sheet, large))
        told = nestkit("parts", "build.toml", "--scale", scale, cwd=sign).stdout
        assert ("Allow more turns" in told) == advised
        assert ("would be left out" in told) == (advised or scale == 9)


def test_lengths_are_told_in_the_unit_of_the_build(sign):
    text = SMALL.replace("[build]", '[build]\nunits = "in"').replace("size = [300, 200]", "size = [2, 2]")
    text = text.replace("gap = 2\nmargin = 5", "gap = 0.1\nmargin = 0.2").replace("[600, 400]", "[24, 16]")
    text = text.replace("thickness = 6", "thickness = 0.25").replace("kerf = 0.2", "kerf = 0.008")
    ring = 'name = "hoop"\npattern = "cone"\nthickness = 0.25\n'
    ring += "lower_diameter = 9\nupper_diameter = 9\nheight = 5"
    (sign / "build.toml").write_text(f"{text}\n[[part]]\n{ring}\n")
    shown = nestkit("parts", "build.toml", cwd=sign).stdout
    done = nestkit("plan", "build.toml", "--rounds", 1, "--out", "out", cwd=sign)
    assert "0.0000 in" in shown
    assert "3.937 x 3.15 in fits no sheet however it is turned; the largest is 2 x 2 in" in done.stdout
    assert "0.2 in all round stay free" in done.stdout
    assert not re.search(r"\d mm\b", shown + done.stdout)


def test_the_guide_names_every_topic_in_its_help():
    told = " ".join(nestkit("guide", "--help").stdout.replace("\u2502", " ").split())
    assert all(re.search(rf"\b{topic}\b", told) for topic in TOPICS)
    assert TOPICS[0] == "start"
