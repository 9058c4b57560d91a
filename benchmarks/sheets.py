"""How many sheets builds take, how many they need for certain, and how soon that is known.

    python benchmarks/sheets.py [--seconds S] [--seed N] [--only NAME,...] [--samples DIR] [--jobs N]
        [--processor] [--json FILE]

Builds are generated from seeds of their own: 10 to 300 copies of foam parts, 1 to 4 kinds of sheets, with and
without offcuts in the shop; the samples are planned too. The first engine alone gets a quarter of the time,
as it does in a plan. With --processor a second is one of this process's processor time, and there is but
one, for a machine that others use too.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path as FilePath

import numpy as np

from nestkit.build import load_build
from nestkit.build.model import Build, Cutter, Part, Sheet, Turns
from nestkit.geometry import Outline, Path, Shape
from nestkit.nesting.course import Course
from nestkit.nesting.group import plan_group
from nestkit.nesting.overlap import prepare
from nestkit.nesting.stops import AfterSeconds
from nestkit.planning import Effort, Progress, make_plan, requests
from nestkit.searching import FIRST_SHARE

#: Copies in each generated build.
COPIES = (10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 100, 150, 200, 300)
HALF, QUARTER = Turns((0.0, math.pi)), Turns((0.0, math.pi / 2, math.pi, 3 * math.pi / 2))
BED = (900.0, 600.0)
#: Kinds of sheets that shops sell (common practice, no source), with a price each.
SHEETS = (((1000.0, 500.0), 7.2), ((600.0, 600.0), 5.4), ((1200.0, 600.0), 9.9), ((600.0, 400.0), 3.9))


@dataclass(frozen=True, slots=True)
class Row:
    """What came of one build."""

    name: str
    copies: int
    kinds: int
    offcuts: bool
    used: int
    at_least: int
    proven: bool
    cost: float
    cost_at_least: float
    waste: float
    first_engine: int
    first_full: float
    best_after: float
    seconds: float
    left_out: int


# --- generated parts ------------------------------------------------------------------------------


def plate(chance: random.Random, size: float) -> Outline:
    """An armour plate: a polygon with bulged edges."""
    count = chance.randint(4, 8)
    rows = []
    for k in range(count):
        angle = math.tau * (k + chance.uniform(-0.25, 0.25)) / count
        r = size * chance.uniform(0.38, 0.55)
        rows.append((r * math.cos(angle), 0.8 * r * math.sin(angle), chance.choice((0.0, 0.0, 0.15, 0.3))))
    return Outline(Path(np.array(rows), True))


def strip(chance: random.Random, size: float) -> Outline:
    """A strip: casing, spacer, trim."""
    return box(size * chance.uniform(1.0, 2.2), size * chance.uniform(0.12, 0.35))


def bracket(chance: random.Random, size: float) -> Outline:
    """A knee of two legs."""
    a, b = size * chance.uniform(0.6, 1.1), size * chance.uniform(0.5, 0.9)
    t = size * chance.uniform(0.18, 0.3)
    return Outline(Path.polyline([(0, 0), (a, 0), (a, t), (t, t), (t, b), (0, b)], True))


def ring(chance: random.Random, size: float) -> Outline:
    """A ring."""
    outer = size * chance.uniform(0.25, 0.5)
    return Outline(Path.circle(0, 0, outer), (Path.circle(0, 0, outer * chance.uniform(0.3, 0.75)),))


def blade(chance: random.Random, size: float) -> Outline:
    """A blade: long, pointed, one edge curved."""
    length, width = size * chance.uniform(1.2, 2.4), size * chance.uniform(0.3, 0.55)
    rows = [(0, 0, 0), (0.7 * length, -0.1 * width, 0.12), (length, 0.6 * width, 0), (0, width, 0)]
    return Outline(Path(np.array(rows), True))


def gore(chance: random.Random, size: float) -> Outline:
    """A gore of a dome."""
    length, half = size * chance.uniform(0.8, 1.4), size * chance.uniform(0.15, 0.28)
    rows = [(0.0, -half, 0.0), (length, 0.0, 0.0), (0.0, half, 0.1)]
    return Outline(Path(np.array(rows), True))


def box(width: float, height: float) -> Outline:
    """A rectangle."""
    return Outline(Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True))


Drawn = Callable[[random.Random, float], Outline]
SHAPES: tuple[Drawn, ...] = (plate, plate, strip, bracket, ring, blade, gore)


def generated(number: int) -> tuple[str, Build, int, bool]:
    """Build number so and so: its name, itself, its kinds of sheets, and whether there are offcuts."""
    chance = random.Random(1000 + number)
    copies = COPIES[number % len(COPIES)]
    kinds, offcuts = 1 + number % 4, number % 3 == 1
    typical = chance.choice((70.0, 100.0, 140.0, 180.0))
    parts: list[Part] = []
    left = copies
    while left:
        count = min(left, chance.choice((1, 1, 2, 2, 3, 4, 6, 8)) * (1 + copies // 60))
        size = min(typical * chance.lognormvariate(0.0, 0.4), 240.0)
        shape = Shape(chance.choice(SHAPES)(chance, size)).at_origin()
        turns = chance.choice((Turns(), Turns(), HALF, QUARTER))
        pairs = count % 2 == 0 and chance.random() < 0.3
        name = f"part {len(parts) + 1}"
        parts.append(Part(name, shape, "eva", 6.0, count, turns=turns, mirrored_pairs=pairs))
        left -= count
    sheets = [
        Sheet(f"eva {w:.0f} x {h:.0f}", "eva", 6.0, (w, h), price)
        for (w, h), price in chance.sample(SHEETS, kinds)
    ]
    if offcuts:
        for k in range(chance.randint(1, 3)):
            box = (chance.uniform(200.0, 600.0), chance.uniform(150.0, 400.0))
            sheets.append(Sheet(f"offcut {k + 1}", "eva", 6.0, box, in_shop=1, buy=False))
    build = Build(
        f"generated {number}", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, Cutter("laser", BED, 0.2),
        tuple(sheets), (), tuple(parts),
    )  # fmt: skip
    return f"g{number:02}", build, kinds, offcuts


# --- measuring ------------------------------------------------------------------------------------


def measure(name: str, build: Build, kinds: int, offcuts: bool, seconds: float, seed: int, cores: int) -> Row:
    """Plans one build, and its groups with the first engine alone."""
    wanted = requests(build)
    share = FIRST_SHARE * seconds / len(wanted)
    first = [plan_group(request, Course(seed=seed, stop=AfterSeconds(share))) for request in wanted]
    began = AfterSeconds.clock()
    seen: dict[int, int] = {}
    full: set[int] = set()
    first_full = best_after = 0.0

    def watch(at: Progress) -> None:
        nonlocal first_full, best_after
        if at.note:
            return
        now = AfterSeconds.clock() - began
        if at.number not in full:
            full.add(at.number)
            first_full = max(first_full, now) if at.groups == 1 else first_full
        if seen.get(at.number) != at.sheets:
            seen[at.number] = at.sheets
            best_after = now

    planned = make_plan(build, Effort(seconds, None, seed), progress=watch, cores=cores)
    groups = planned.plan.groups
    foam = sum(placed.part.shape.outline.area for s in planned.plan.sheets for placed in s.placed)
    return Row(
        name=name,
        copies=sum(group.parts for group in groups),
        kinds=kinds,
        offcuts=offcuts,
        used=sum(group.sheets_used for group in groups),
        at_least=sum(group.sheets_at_least for group in groups),
        proven=all(group.proven for group in groups),
        cost=sum(group.cost for group in groups),
        cost_at_least=sum(group.cost_at_least for group in groups),
        waste=1.0 - foam / sum(s.outline.area for s in planned.plan.sheets),
        first_engine=sum(group.group.sheets_used for group in first),
        first_full=first_full,
        best_after=best_after,
        seconds=AfterSeconds.clock() - began,
        left_out=len(planned.plan.unplaced),
    )


def cases(count: int, samples: FilePath | None) -> Iterator[tuple[str, Build, int, bool]]:
    """The generated builds, then the samples."""
    for number in range(count):
        yield generated(number)
    for file in sorted(samples.glob("*/build.toml")) if samples else []:
        build = load_build(file)
        yield file.parent.name, build, len(build.sheets), any(sheet.in_shop for sheet in build.sheets)


HEAD = (
    "build      copies kinds offcuts  used  at least  proven  first engine  cost (least)    waste"
    "  first full  best    end"
)


def line(row: Row) -> str:
    """A row of the table."""
    cost = f"{row.cost:.2f} ({row.cost_at_least:.2f})"
    late = f"{row.first_full:8.1f} s {row.best_after:5.1f} s {row.seconds:4.0f} s"
    left = f"  {row.left_out} left out" if row.left_out else ""
    return (
        f"{row.name:10} {row.copies:6} {row.kinds:5} {'yes' if row.offcuts else 'no':>7} {row.used:5}"
        f" {row.at_least:9} {'yes' if row.proven else 'no':>7} {row.first_engine:13}"
        f"  {cost:15} {row.waste:5.0%} {late}{left}"
    )


def summary(rows: list[Row]) -> str:
    """What the targets ask for."""
    met = sum(row.used == row.at_least for row in rows)
    proven = sum(row.proven for row in rows)
    few = [row for row in rows if row.copies <= 100]
    far = [row.name for row in few if row.used > row.at_least + 1]
    fewer = sum(max(row.first_engine - row.used, 0) for row in rows)
    slow = max((row.first_full for row in few), default=0.0)
    return (
        f"used = at least in {met} of {len(rows)} ({met / len(rows):.0%}), proven (money too) in {proven};\n"
        f"more than one above for up to 100 copies: {', '.join(far) or 'none'};\n"
        f"{fewer} sheets fewer than the first engine;\n"
        f"first full plan for up to 100 copies after {slow:.1f} s at most"
    )


def main() -> int:
    """Prints the table; exit code 1 when something is left out."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=30, help="how many generated builds")
    parser.add_argument("--only", default="", help="names, separated by commas")
    parser.add_argument("--samples", type=FilePath, help="the folder samples/")
    parser.add_argument("--jobs", type=int, default=2, help="cores that search at once")
    parser.add_argument("--processor", action="store_true", help="seconds of processor time")
    parser.add_argument("--json", type=FilePath, help="also write the rows here")
    asked = parser.parse_args()
    only = set(filter(None, asked.only.split(",")))
    if asked.processor:
        AfterSeconds.clock = staticmethod(time.process_time)
    prepare()
    print(HEAD)
    rows = []
    for name, build, kinds, offcuts in cases(asked.count, asked.samples):
        if only and name not in only:
            continue
        cores = 1 if asked.processor else asked.jobs
        rows.append(measure(name, build, kinds, offcuts, asked.seconds, asked.seed, cores))
        print(line(rows[-1]), flush=True)
    print(summary(rows))
    print(f"load {os.getloadavg()[1]:.1f}")
    if asked.json:
        asked.json.write_text(json.dumps([asdict(row) for row in rows], indent=1) + "\n", encoding="utf-8")
    return 1 if any(row.left_out for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
