"""The same build, seed and rounds give the same files to the byte, wherever and however they are made."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks.kills import ROOT, tree
from tests.fuzz.targets import SEEDS

#: Enough rounds that the search that removes overlaps has its turn, and not the first layout alone.
ROUNDS = "8"


def planned(home: Path, build: str = "build.toml", prefix: tuple[str, ...] = (), **environment: str):
    """The files of a plan that is made in a new process with ``home`` as its working folder."""
    shutil.copytree(SEEDS, home, dirs_exist_ok=True)
    command = [*prefix, sys.executable, "-m", "nestkit", "plan", build, "--rounds", ROUNDS, "--seed", "3"]
    done = subprocess.run(
        [*command, "--out", str(home / "out")],
        cwd=home,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return tree(home / "out")


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("first"), PYTHONHASHSEED="0")


def test_there_is_something_to_compare(first):
    assert {"plan.json", "report.html", "folds.csv", "templates.pdf"} <= set(first)
    assert sum(name.endswith(".dxf") for name in first) >= 2


def test_with_another_hash_seed_folder_clock_language_and_environment(first, tmp_path):
    """None of the places and words around a build is in its files."""
    home = tmp_path / "a folder, elsewhere"
    home.mkdir()
    around = {"PYTHONHASHSEED": "4242", "TZ": "Pacific/Auckland", "LANG": "de_DE.UTF-8", "LC_ALL": "C.UTF-8"}
    assert planned(home, **around, HOME=str(tmp_path), COLUMNS="40", USER="somebody") == first


@pytest.mark.skipif(shutil.which("taskset") is None, reason="no taskset here to take a core away")
def test_on_one_core_with_one_thread(first, tmp_path):
    threads = dict.fromkeys(("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    core = str(min(os.sched_getaffinity(0)))
    assert planned(tmp_path, prefix=("taskset", "-c", core), **threads) == first


@pytest.mark.slow
def test_after_a_fresh_install(first, tmp_path):
    """With every kernel compiled anew: nothing that was compiled before has a say."""
    home = tmp_path / "home"
    home.mkdir()
    assert planned(home, NUMBA_CACHE_DIR=str(tmp_path / "cache"), PYTHONHASHSEED="1") == first
    assert any((tmp_path / "cache").rglob("*.nbi"))
