"""Nestkit as a library: the README's example as it stands there, and what the four names refuse."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import nestkit
from nestkit import InputError, OutputError, check, load_build, plan, write
from nestkit.build import write_starter
from tests.readme_commands import programs
from tests.same_process import nestkit as nestkit_here


@pytest.fixture
def lantern(tmp_path: Path) -> Path:
    """What ``nestkit new lantern`` writes."""
    write_starter(tmp_path / "lantern")
    return tmp_path / "lantern" / "build.toml"


def test_the_readme_s_example_runs_as_it_stands_there(lantern: Path) -> None:
    [program] = programs()
    assert len(program.splitlines()) == 10
    folder = lantern.parent.parent
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=folder, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    written = json.loads((folder / "out/lantern-large/plan.json").read_bytes())
    assert written["scale"] == 1.1
    groups = [line for line in done.stdout.splitlines() if " mm: " in line]
    assert len(groups) == len(written["groups"])
    assert sum(float(line.rsplit(" ", 1)[1]) for line in groups) == pytest.approx(
        sum(group["cost"] for group in written["groups"])
    )
    assert "files; All is right" in done.stdout


def test_it_plans_what_the_command_plans(lantern: Path, tmp_path: Path) -> None:
    """With rounds in place of seconds, file by file and byte by byte."""
    build = load_build(str(lantern))
    write(build, plan(build, rounds=2, seed=3), tmp_path / "own")
    words = ("plan", lantern, "--rounds", 2, "--seed", 3, "--out", tmp_path / "told")
    nestkit_here(*words).check_returncode()
    names = sorted(str(f.relative_to(tmp_path / "told")) for f in (tmp_path / "told").rglob("*.*"))
    assert names
    for name in names:
        assert (tmp_path / "own" / name).read_bytes() == (tmp_path / "told" / name).read_bytes(), name


@pytest.mark.parametrize(
    ("wrong", "told"),
    [({"seconds": -1.0}, "seconds is -1"), ({"rounds": 0}, "rounds is 0"), ({"seed": -2}, "seed is -2")],
)
def test_effort_that_makes_no_sense_is_refused(lantern: Path, wrong: dict[str, float], told: str) -> None:
    with pytest.raises(InputError, match=told):
        plan(load_build(lantern), **wrong)  # type: ignore[arg-type]


def test_a_material_that_must_not_be_cut_is_refused_as_by_the_commands(lantern: Path) -> None:
    lantern.write_text(lantern.read_text().replace('"eva"', '"pvc"'))
    with pytest.raises(InputError, match="pvc"):
        load_build(lantern)


def test_nothing_is_written_where_nothing_fits(lantern: Path, tmp_path: Path) -> None:
    huge = load_build(lantern, scale=50.0)
    planned = plan(huge, rounds=1)
    assert planned.plan.unplaced
    with pytest.raises(InputError, match="no part fits any sheet"):
        write(huge, planned, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_somebody_else_s_folder_stays_as_it_is(lantern: Path, tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "bell.jpg").write_bytes(b"a bell")
    build = load_build(lantern)
    with pytest.raises(OutputError):
        write(build, plan(build, rounds=1), tmp_path / "photos")
    assert [f.name for f in (tmp_path / "photos").iterdir()] == ["bell.jpg"]
    with pytest.raises(InputError):
        check(tmp_path / "photos")


def test_the_surface_is_these_names() -> None:
    assert set(nestkit.__all__) == {
        "InputError", "NestkitError", "OutputError", "check", "load_build", "plan", "write",
    }  # fmt: skip
    assert all(getattr(nestkit, name).__doc__ for name in nestkit.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nest'"):
        nestkit.nest  # noqa: B018


def test_the_names_cost_nothing_until_they_are_asked_for() -> None:
    code = "import sys, nestkit; print(sorted(m for m in sys.modules if m.startswith('nestkit')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "['nestkit']"
