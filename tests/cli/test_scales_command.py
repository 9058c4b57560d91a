"""``nestkit scales`` as it is typed: results, words, exit codes, Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from tests.same_process import nestkit
from tests.scales.scales_bench import JIGSAW, sheet, write_build


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0, "in_shop = 1"))
    return tmp_path


def command(folder: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "nestkit", "scales", "build.toml", *words]


def environment(folder: Path) -> dict[str, str]:
    # The program of this checkout, and a cache of the test's own.
    here = str(Path(__file__).resolve().parents[2])
    return {
        "PYTHONPATH": here,
        "XDG_CACHE_HOME": str(folder / "cache"),
        "NESTKIT_SHOP": str(folder / "shop.sqlite"),
    }


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return nestkit("scales", "build.toml", *words, cwd=folder, **environment(folder))


@pytest.fixture
def threads(monkeypatch):
    """Sizes are planned in this process: others take seconds to begin, and other tests have them."""
    monkeypatch.setattr("nestkit.workers.Workers", lambda count, heard: ThreadPoolExecutor(1))


def largest(sizes: Path) -> dict[str, Any]:
    found: dict[str, Any]
    (found,) = json.loads((sizes / "scales.json").read_bytes())["largest"]
    return found


def test_sizes_are_compared_and_a_second_run_is_kept(folder):
    ask = ("--from", "0.9", "--to", "1.1", "--steps", "3", "--rounds", "8", "--cores", "2", "--out", "sizes")
    first = run(folder, *ask, "--json")
    assert first.returncode == 0, first.stderr
    data = json.loads(first.stdout)
    assert [size["scale"] for size in data["sizes"]] == [0.9, 1.0, 1.1]
    assert data["cliffs"][0]["up_to_scale"] == pytest.approx(1.0, rel=0.005)
    assert data["cliffs"][0]["proven"] is True
    before = {file.name: file.read_bytes() for file in (folder / "sizes").iterdir()}
    assert set(before) == {
        "layouts.json",
        "scales.csv",
        "scales.html",
        "scales.json",
        "scales.png",
        "scales.svg",
    }
    second = run(folder, *ask)
    assert second.returncode == 0
    assert "0 planned now" in second.stdout
    assert "up to 230 mm (scale 1) it is 1 sheet" in second.stdout
    assert {file.name: file.read_bytes() for file in (folder / "sizes").iterdir()} == before
    # What was found just below the cliff is there to be cut: one sheet, and no search that could miss it.
    scale = str(data["cliffs"][0]["up_to_scale"])
    words = ("--scale", scale, "--begin-with", "sizes", "--rounds", "1", "--out", "plan")
    planned = nestkit("plan", "build.toml", *words, cwd=folder, **environment(folder))
    assert planned.returncode == 0, planned.stderr
    assert len(json.loads((folder / "plan" / "plan.json").read_bytes())["sheets"]) == 1


def test_lengths_and_the_largest_size_from_the_shop(folder, threads):
    found = run(folder, "--lengths", "200,230", "--of", "p5", "--fit-shop", "--rounds", "3", "--no-cache")
    assert found.returncode == 0, found.stderr
    assert "The largest size that fits what is in the shop is 230 mm (scale 1)" in found.stdout
    (plan,) = (folder / "out").glob("*/largest-from-shop/plan.json")
    assert json.loads(plan.read_bytes())["unplaced"] == []
    assert not list((folder / "cache" / "nestkit").rglob("*.json"))


def test_the_largest_size_from_the_shop_counts_the_leftovers_in_its_list(folder, threads):
    # The build file's sheet holds the puzzle at half its size, the leftover, an L, the whole of it; and no
    # size that fits needs more area than both have.
    write_build(folder, JIGSAW, sheet(150, 100, 7.0, "in_shop = 1"))
    (folder / "rest.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">'
        '<path id="rest" d="M0 0H400V20H300V200H0Z" fill="none" stroke="#000000"/></svg>'
    )
    ask = ("--fit-shop", "--of", "p5", "--rounds", "3", "--no-cache", "--cores", "2")
    alone = run(folder, *ask, "--no-offcuts", "--out", "alone")
    assert alone.returncode == 0, alone.stderr
    assert largest(folder / "alone")["scale"] <= 0.5 * 1.0001
    before = run(folder, *ask, "--out", "before")
    assert before.returncode == 0, before.stderr
    assert largest(folder / "before") == largest(folder / "alone"), "no list yet"

    def other(*words: str) -> None:
        nestkit(*words, cwd=folder, **environment(folder)).check_returncode()

    foam = ("--material", "eva", "--thickness", "6")
    other("offcuts", "add", "--from", "rest.svg#rest", *foam)
    other("offcuts", "add", "--size", "900x900", "--material", "eva", "--thickness", "4")
    done = run(folder, *ask, "--out", "sizes")
    assert done.returncode == 0, done.stderr
    assert "1 piece of this build's foams in the shop" in done.stdout
    assert 0.99 <= largest(folder / "sizes")["scale"] <= ((62000 + 15000) / 60000) ** 0.5
    written = folder / "sizes" / "largest-from-shop"
    plan = json.loads((written / "plan.json").read_bytes())
    assert plan["unplaced"] == []
    assert "offcut 1" in {each["stock"] for each in plan["sheets"]}
    assert sum(group["cost"] for group in plan["groups"]) == 0.0
    other("check", "sizes/largest-from-shop")
    other("offcuts", "use", "sizes/largest-from-shop")


def test_sizes_use_up_leftovers_only_when_asked(folder, threads):
    write_build(folder, JIGSAW, sheet(300, 200, 7.0))
    words = ("--size", "300x200", "--material", "eva", "--thickness", "6")
    nestkit("offcuts", "add", *words, cwd=folder, **environment(folder)).check_returncode()
    ask = ("--from", "0.9", "--to", "0.9", "--steps", "1", "--rounds", "3", "--no-cache", "--json")
    costs = []
    for more in ((), ("--offcuts",)):
        done = run(folder, *ask, *more, "--out", f"sizes{len(more)}")
        assert done.returncode == 0, done.stderr
        costs.append(json.loads(done.stdout)["sizes"][0]["cost"])
    assert costs == [7.0, 0.0]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "no sizes are asked for"),
        (("--from", "1", "--to", "2", "--offcuts"), "there is no shop yet"),
        (("--from", "0.9"), "--to: is missing"),
        (("--from", "2", "--to", "1"), "above --to"),
        (("--lengths", "1,b"), "no list of lengths"),
        (("--lengths", "1", "--from", "1"), "scales are given too"),
        (("--lengths", "1", "--of", "q"), "there is no part 'q'"),
        (("--from", "1", "--to", "2", "--cluster", "tcp:nowhere:x"), "no scheduler answers"),
    ],
)
def test_what_is_asked_for_wrongly_is_told(folder, words, told):
    found = run(folder, *words)
    assert found.returncode == 2
    assert told in found.stderr
    assert "Traceback" not in found.stderr
    assert not (folder / "out").exists()


def test_ctrl_c_keeps_the_sizes_that_are_done(folder, threads):
    ask = ("--from", "0.9", "--to", "1.0", "--steps", "2", "--rounds", "3", "--out", "sizes")
    assert run(folder, *ask, "--no-cache").returncode == 0
    before = (folder / "sizes" / "scales.csv").read_bytes()
    # So many sizes that they can't be done before they are stopped.
    many = ("--from", "0.8", "--to", "1.2", "--steps", "600", "--rounds", "200", "--cores", "2")
    process = subprocess.Popen(
        command(folder, *many, "--out", "sizes"),
        cwd=folder,
        env={**os.environ, **environment(folder)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    until = time.monotonic() + 240.0
    while len(list((folder / "cache" / "nestkit").rglob("*.json"))) < 3 and time.monotonic() < until:
        time.sleep(0.1)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 130, err
    assert "Traceback" not in err
    assert "is in sizes-stopped-1; sizes is as it was" in err
    assert (folder / "sizes" / "scales.csv").read_bytes() == before
    data = json.loads((folder / "sizes-stopped-1" / "scales.json").read_bytes())
    assert data["stopped"] is True
    assert 3 <= len(data["sizes"]) < 600
    assert len(data["sizes"]) + len(data["missing"]) == 600
    # The two largest are begun first, side by side; either may be the one that was stopped.
    assert max(size["scale"] for size in data["sizes"]) > 1.199
