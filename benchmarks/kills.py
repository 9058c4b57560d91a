"""Kills commands at random moments (SIGKILL, which no program can answer) and looks at what is left.

    python benchmarks/kills.py --times 20 --seed 1

Each command is started until it was killed so many times: a kill that comes when it has ended doesn't count.
Half of the kills come at any moment of the run, half while files are being put in place. After each one the
output must be the old one or the new one, whole, to the byte; then the same command runs to its end and must
give the new one. What a kill left beside the output is gone after that, or is named in the table.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

ROOT = Path(__file__).parents[1]
SEEDS = ROOT / "tests" / "fuzz" / "seeds"
LANTERN = ROOT / "samples" / "lantern"

Tree = dict[str, bytes]


def tree(folder: Path) -> Tree:
    """All files below a folder with their bytes."""
    return {str(f.relative_to(folder)): f.read_bytes() for f in sorted(folder.rglob("*")) if f.is_file()}


def nestkit(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command to its end."""
    command = [sys.executable, "-m", "nestkit", *map(str, words)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        command, capture_output=True, text=True, cwd=cwd, timeout=1800, check=False, env=environment
    )


@dataclass(frozen=True)
class Victim:
    """A command that is killed.

    Parameters
    ----------
    words : tuple of str
        The command.
    prepare : callable
        Fills a new folder with what the command needs and an earlier output.
    faults : callable
        From a folder after a kill, the folder before it and the folder that a whole run gives: what is wrong.
    writing : callable
        Whether the folder shows that files are being put in place.
    state : callable
        From a folder, what tells old and new output apart.
    repeats : bool
        Whether a second run gives the same output; else it adds to what is there.
    """

    words: tuple[str, ...]
    prepare: Callable[[Path], None]
    faults: Callable[[Path, Tree, Tree], Iterator[str]]
    writing: Callable[[Path], bool]
    state: Callable[[Path], object]
    repeats: bool = True


def _prepare_plan(home: Path) -> None:
    for name in ("build.toml", "parts.svg"):
        shutil.copy(SEEDS / name, home)
    done = nestkit("plan", "build.toml", "--rounds", 1, "--seed", 7, "--scale", 0.9, "--out", "out", cwd=home)
    assert done.returncode == 0, done.stderr
    (home / "out" / "notes.txt").write_text("the maker's own")


def _under(files: Tree, folder: str) -> Tree:
    return {name: data for name, data in files.items() if name.startswith(f"{folder}/")}


def _plan_faults(home: Path, before: Tree, after: Tree) -> Iterator[str]:
    now = tree(home)
    if (home / "out").exists():
        if _under(now, "out") not in (_under(before, "out"), _under(after, "out")):
            yield "the output is neither the old nor the new one"
    else:
        # Between the two renames the old one stands aside, whole; the next run puts it back.
        aside = [path.name for path in home.glob(".out.old-*")]
        old = {name.removeprefix("out/"): data for name, data in _under(before, "out").items()}
        if len(aside) != 1 or tree(home / aside[0]) != old:
            yield "the output is gone"
    if any(now.get(name) != before[name] for name in before if not name.startswith("out/")):
        yield "the build or its drawing is changed"


def _prepare_calibrate(home: Path) -> None:
    for file in LANTERN.iterdir():
        shutil.copy(file, home)


def _calibrate_faults(home: Path, before: Tree, after: Tree) -> Iterator[str]:
    now = tree(home)
    if now["build.toml"] not in (before["build.toml"], after["build.toml"]):
        yield "the build file is neither the old nor the new one"
    kept = [data for name, data in now.items() if name.startswith("build-before-")]
    if any(data not in (before["build.toml"], after["build.toml"]) for data in kept):
        yield "a kept build file is not whole"
    if now["build.toml"] == after["build.toml"] and before["build.toml"] not in kept:
        yield "the build file was changed and the old one is nowhere"
    if any(now.get(name) != before[name] for name in before if name != "build.toml"):
        yield "another file is changed"


def _prepare_shop(home: Path) -> None:
    for number in range(3):
        done = nestkit(*_ADD, "--note", f"number {number}", cwd=home)
        assert done.returncode == 0, done.stderr


def _prepare_scales(home: Path) -> None:
    for name in ("build.toml", "parts.svg"):
        shutil.copy(SEEDS / name, home)
    done = nestkit(*_SCALES, "--from", 0.8, "--out", "out", cwd=home)
    assert done.returncode == 0, done.stderr
    (home / "out" / "notes.txt").write_text("the maker's own")


_SCALES = (
    "scales",
    "build.toml",
    "--from",
    "0.9",
    "--to",
    "1.1",
    "--steps",
    "2",
    "--rounds",
    "1",
    "--cores",
    "1",
    "--no-cache",
)


def _prepare_use(home: Path) -> None:
    _prepare_plan(home)
    _prepare_shop(home)


_ADD = (
    "offcuts",
    "add",
    "--size",
    "400x300",
    "--material",
    "eva",
    "--thickness",
    "6",
    "--shop",
    "shop.sqlite",
)


def shop_rows(file: Path) -> list[tuple[object, ...]]:
    """What a shop says, dates left out, read by SQLite alone; fails when its own check finds anything."""
    with closing(sqlite3.connect(file)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        bookings = database.execute("SELECT number, kind FROM booking ORDER BY number").fetchall()
        pieces = database.execute("SELECT number, material, outline, came, went FROM piece ORDER BY number")
        return [*bookings, *pieces.fetchall()]


def _shop_faults(home: Path, before: Tree, after: Tree) -> Iterator[str]:
    known = []
    for files in (before, after):
        with tempfile.TemporaryDirectory() as folder:
            for file in ("shop.sqlite", "shop.sqlite-wal"):
                if file in files:
                    (Path(folder) / file).write_bytes(files[file])
            known.append(shop_rows(Path(folder) / "shop.sqlite"))
    try:
        if shop_rows(home / "shop.sqlite") not in known:
            yield "the shop is neither the old nor the new one"
    except (AssertionError, sqlite3.Error) as error:
        yield f"the shop is damaged: {error}"


VICTIMS: dict[str, Victim] = {
    "plan": Victim(
        ("plan", "build.toml", "--rounds", "2", "--out", "out"),
        _prepare_plan,
        _plan_faults,
        lambda home: any(home.glob(".out.new-*")),
        lambda home: tree(home / "out"),
    ),
    "calibrate": Victim(
        ("calibrate", "build.toml", "readings.csv"),
        _prepare_calibrate,
        _calibrate_faults,
        lambda home: any(home.glob(".build.toml.*")),
        lambda home: (home / "build.toml").read_bytes(),
    ),
    "scales": Victim(
        (*_SCALES, "--out", "out"),
        _prepare_scales,
        _plan_faults,
        lambda home: any(home.glob(".out.new-*")),
        lambda home: tree(home / "out"),
    ),
    "offcuts use": Victim(
        ("offcuts", "use", "out", "--again", "--shop", "shop.sqlite"),
        _prepare_use,
        _shop_faults,
        lambda home: (home / "shop.sqlite-wal").exists(),
        lambda home: shop_rows(home / "shop.sqlite"),
        repeats=False,
    ),
    "offcuts add": Victim(
        (*_ADD, "--count", "200"),
        _prepare_shop,
        _shop_faults,
        lambda home: (home / "shop.sqlite-wal").exists(),
        lambda home: shop_rows(home / "shop.sqlite"),
        repeats=False,
    ),
}


@dataclass
class Result:
    """What a number of kills came to."""

    kills: int = 0
    too_late: int = 0
    while_writing: int = 0
    left_old: int = 0
    left_new: int = 0
    faults: list[str] = field(default_factory=list)
    leftovers: set[str] = field(default_factory=set)


def kill_at(running: subprocess.Popen[bytes], seconds: float, ready: Callable[[], bool] | None) -> bool:
    """Kill after some seconds, counted from when it is ``ready`` if that is given; False if it had ended."""
    while ready is not None and running.poll() is None and not ready():
        time.sleep(0.0005)
    time.sleep(seconds)
    late = running.poll() is not None
    running.send_signal(signal.SIGKILL)
    running.communicate()
    return not late


def _started(victim: Victim, home: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "nestkit", *victim.words],
        cwd=home,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def _whole_run(victim: Victim, home: Path) -> float:
    """How long it takes when it is not killed, seconds: started as those that are."""
    start = time.monotonic()
    with _started(victim, home) as running:
        assert running.wait() == 0
    return time.monotonic() - start


def run(name: str, times: int, seed: int, tries: int) -> Result:
    """Kill one command so many times, each time from the same state, in so many tries at most."""
    victim, chance, result = VICTIMS[name], random.Random(seed), Result()
    with tempfile.TemporaryDirectory() as folder:
        original, whole = Path(folder) / "original", Path(folder) / "whole"
        original.mkdir()
        victim.prepare(original)
        before = tree(original)
        shutil.copytree(original, whole)
        lasts = _whole_run(victim, whole)
        after = tree(whole)
        assert after != before
        old, new = victim.state(original), victim.state(whole)
        for number in range(tries):
            if result.kills == times:
                break
            home = Path(folder) / f"home-{number}"
            shutil.copytree(original, home)
            aimed = number % 2 == 1
            running = _started(victim, home)
            seconds = chance.uniform(0.0, 0.03) if aimed else chance.uniform(0.0, lasts)
            hit = kill_at(running, seconds, partial(victim.writing, home) if aimed else None)
            result.kills += hit
            result.too_late += not hit
            result.while_writing += hit and victim.writing(home)
            result.faults += [f"kill {number}: {fault}" for fault in victim.faults(home, before, after)]
            state = victim.state(home)
            result.left_new += state == new
            result.left_old += state == old
            again = nestkit(*victim.words, cwd=home)
            if again.returncode != 0:
                result.faults.append(f"kill {number}: the next run failed: {again.stderr.strip()}")
            elif victim.repeats and victim.state(home) != new:
                result.faults.append(f"kill {number}: the next run gave another output")
            result.leftovers |= {path.name for path in home.iterdir() if path.name.startswith(".")}
            shutil.rmtree(home)
            # On a slow machine the whole takes an hour: what is known so far is told.
            told = f"{name}: {result.kills} of {times} in {number + 1} tries, {result.while_writing} writing"
            print(f"{told}, {len(result.faults)} faults", file=sys.stderr, flush=True)
    return result


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("commands", nargs="*", default=list(VICTIMS))
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print("| command | kills | of them while writing | left old | left new | leftovers | faults |")
    print("|---|---|---|---|---|---|---|")
    faults = []
    for name in asked.commands:
        found = run(name, asked.times, asked.seed, 3 * asked.times)
        cells = (found.kills, found.while_writing, found.left_old, found.left_new, len(found.leftovers))
        print(f"| {name} | " + " | ".join(map(str, cells)) + f" | {len(found.faults)} |", flush=True)
        faults += found.faults
    print(*faults, sep="\n")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
