"""What comparing sizes takes: on one core and on two, again from the cache, with and without warm starts.

    python benchmarks/scales.py [--build FILE] [--steps 7] [--rounds 24] [--part jobs,cache,warm]

Rounds, not seconds, are given for each size, so that all runs do the same work and wall time compares them.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from nestkit.build.model import Build
from nestkit.planning import Effort
from nestkit.preparing import read_build
from nestkit.scales.cache import Cache
from nestkit.scales.cliffs import CliffSearch
from nestkit.scales.compare import Question, compare
from nestkit.scales.model import GroupKey, GroupResult, SizeResult, by_scale
from nestkit.scales.runner import Runner
from nestkit.scales.sizes import evenly
from nestkit.scales.source import BuildSource, source_of
from nestkit.scales.task import SizeTask
from nestkit.workers import Workers


def timed(
    build: Build, source: BuildSource, scales: Sequence[float], rounds: int, jobs: int, cache: Path | None
) -> tuple[float, int, int]:
    """Seconds, and sizes planned and kept."""
    question = Question(source, tuple(scales), Effort(rounds=rounds), "", jobs, cliffs=False)
    began = time.perf_counter()
    with Workers(jobs) as workers:
        runner = Runner(workers, None if cache is None else Cache(cache))
        compare(question, build, runner)
    return time.perf_counter() - began, runner.planned, runner.kept


def jobs_rows(build: Build, source: BuildSource, scales: Sequence[float], rounds: int) -> None:
    """The same sizes on one core and on two."""
    timed(build, source, scales[:1], 1, 1, None)  # kernels are compiled, files are in the system's cache
    one, *_ = timed(build, source, scales, rounds, 1, None)
    two, *_ = timed(build, source, scales, rounds, 2, None)
    print(f"| {len(scales)} sizes, --jobs 1 | {one:.0f} s | |")
    print(f"| {len(scales)} sizes, --jobs 2 | {two:.0f} s | {one / two:.2f} times as fast |")


def cache_rows(build: Build, source: BuildSource, scales: Sequence[float], rounds: int) -> None:
    """A second run, and one with a size more."""
    with tempfile.TemporaryDirectory() as folder:
        first, planned, _ = timed(build, source, scales, rounds, 2, Path(folder))
        again, _, kept = timed(build, source, scales, rounds, 2, Path(folder))
        more = sorted([*scales, (scales[0] + scales[1]) / 2.0])
        third, one_more, _ = timed(build, source, more, rounds, 2, Path(folder))
    print(f"| first run, --jobs 2 | {first:.0f} s | {planned} planned |")
    print(f"| the same again | {again:.1f} s | {kept} kept |")
    print(f"| with one size more | {third:.1f} s | {one_more} planned |")


def warm_rows(build: Build, source: BuildSource, scales: Sequence[float], rounds: int) -> None:
    """Cliffs found with plans carried over, and with every try from nothing."""
    task = SizeTask(source, 1.0, Effort(rounds=rounds))
    with Workers(2) as workers:
        runner = Runner(workers)
        sizes, _ = by_scale(runner.run([replace(task, scale=scale) for scale in scales]))
        for name, warm in (("from nothing", False), ("carried over", True)):

            def ask(
                scale: float, key: GroupKey, effort: Effort, start: GroupResult, warm: bool = warm
            ) -> SizeTask:
                laid = start.laid if warm else ()
                return replace(task, scale=scale, effort=effort, only=key, start=laid)

            runner = Runner(workers)
            began = time.perf_counter()
            search = CliffSearch(sizes, scales, ask, Effort(rounds=rounds))
            search.look(runner, lambda moment: True)
            search.settle(runner)
            spent = time.perf_counter() - began
            after = search.bettered(sizes)
            cliffs = search.all_cliffs()
            money = f"{_money(sizes):.2f} before, {_money(after):.2f} after"
            tries = f"{runner.planned} tries, {len(cliffs)} cliffs"
            print(f"| cliffs, {name} | {spent:.0f} s | {tries}; money {money}; {_sheets(after)} sheets |")


def _money(sizes: Sequence[SizeResult]) -> float:
    return sum(size.cost for size in sizes)


def _sheets(sizes: Sequence[SizeResult]) -> int:
    return sum(group.sheets for size in sizes for group in size.groups)


def main() -> None:
    """Prints rows of a table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--build", type=Path, default=Path("samples/halberd/build.toml"))
    options.add_argument("--steps", type=int, default=7)
    options.add_argument("--rounds", type=int, default=24)
    options.add_argument("--part", default="jobs,cache,warm")
    asked = options.parse_args()
    build = read_build(asked.build, None)
    source = source_of(build)
    scales = evenly(0.7, 1.15, asked.steps)
    print(f"load {os.getloadavg()[0]:.1f} when it began\n\n| what | wall time | |\n|---|---|---|")
    parts = {"jobs": jobs_rows, "cache": cache_rows, "warm": warm_rows}
    for name in asked.part.split(","):
        parts[name](build, source, scales, asked.rounds)
    print(f"\nload {os.getloadavg()[0]:.1f} at the end")


if __name__ == "__main__":
    main()
