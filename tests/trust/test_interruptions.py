"""Killed, short of disk, without permission: nothing is half there, one message says why, the next works."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchmarks.kills import LANTERN, ROOT, VICTIMS, run, tree
from tests.fuzz.targets import SEEDS
from tests.same_process import nestkit


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is a signal of Unix")
@pytest.mark.parametrize("command", sorted(VICTIMS))
def test_killed_at_any_moment_the_output_is_whole_and_the_next_run_works(command, monkeypatch):
    """A short slice; `benchmarks/kills.py` kills oftener.

    Programs of their own are those that are killed; what goes before and after runs in this one, and so do
    the sizes that it compares.
    """
    monkeypatch.setattr("benchmarks.kills.nestkit", nestkit)
    monkeypatch.setattr("nestkit.workers.Workers", lambda count, heard: ThreadPoolExecutor(1))
    result = run(command, times=2, seed=11, tries=2)
    assert result.faults == []
    assert result.kills + result.too_late == 2


@contextmanager
def mounted(folder: Path, options: str) -> Iterator[Path]:
    """A small file system of its own at ``folder``; skips where we may not mount one."""
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)], capture_output=True, check=False
    )
    if done.returncode != 0:
        pytest.skip("no permission to mount a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def message(done: subprocess.CompletedProcess[str]) -> str:
    """The one line that a failed command says last; fails when there is a traceback or it did not fail."""
    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    last = done.stderr.strip().splitlines()[-1]
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    return last


@pytest.fixture
def pier(tmp_path) -> Path:
    home = tmp_path / "pier"
    shutil.copytree(SEEDS, home)
    return home


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount here")
@pytest.mark.parametrize("size", [60, 90, 110])
def test_a_full_disk_is_told_and_the_earlier_plan_stays(pier, size):
    """Wherever the room ends: in the first file, or in the last."""
    with mounted(pier / "disk", f"size={size}k") as disk:
        out = disk / "out"
        out.mkdir()
        done = nestkit("plan", "build.toml", "--rounds", 1, "--out", out, cwd=pier)
        told = message(done)
        assert "the disk is full" in told
        assert str(out) in told
        assert "Nothing there was changed" in told
        assert list(disk.iterdir()) == [out]
        assert list(out.iterdir()) == []
    done = nestkit("plan", "build.toml", "--rounds", 1, "--out", "elsewhere", cwd=pier)
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount here")
def test_a_read_only_disk_is_told_and_nothing_is_searched_for(pier):
    with mounted(pier / "disk", "size=4m") as disk:
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        told = message(nestkit("plan", "build.toml", "--rounds", 1, "--out", disk / "out", cwd=pier))
    assert "no permission to write there" in told
    assert "--out" in told


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount here")
@pytest.mark.parametrize("how", ["full", "read-only"])
def test_calibrate_without_room_or_permission_leaves_the_build_file(tmp_path, how):
    with mounted(tmp_path / "disk", "size=64k") as disk:
        for file in ("build.toml", "lantern.svg", "readings.csv"):
            shutil.copy(LANTERN / file, disk)
        if how == "full":
            (disk / "ballast").write_bytes(bytes(shutil.disk_usage(disk).free))
        else:
            subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        before = tree(disk)
        done = nestkit("calibrate", disk / "build.toml", disk / "readings.csv", cwd=tmp_path)
        told = message(done)
        assert "build.toml" in told
        assert "No space left" in told if how == "full" else "Read-only" in told
        assert tree(disk) == before


@pytest.mark.skipif(os.name != "posix", reason="the limit is one of Unix")
def test_a_limit_on_file_sizes_is_told_too(pier):
    """As a quota or a disk of an old kind would: a file is cut off in its middle."""
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000));"
        "sys.argv = ['nestkit', 'plan', 'build.toml', '--rounds', '1', '--out', 'out'];"
        "import nestkit.cli; nestkit.cli.main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=pier,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    told = message(done)
    assert "the plan can't be written" in told
    assert not (pier / "out").exists()
    assert [path.name for path in pier.iterdir() if path.name.startswith(".")] == []
