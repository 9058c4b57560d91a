"""Cut order: travel against always going to the nearest, and against what no order undercuts; seconds.

    python benchmarks/order.py [--rounds 4] [--seed 1] [--routing SECONDS]

The samples are planned with a fixed number of rounds, all their sheets together make a row. The generated
sheets hold parts of random size on a grid, each with two round holes, and are measured without and with
labels; "of labels" counts the paths that draw these. Seconds are the processor's, for the order with its
bound; kernels are compiled beforehand. All is written and checked. With --routing a general routing library
gets the same tasks and so many seconds for each job, or for each 200 tasks of one, see order_routing.py;
then both get them "free": without what has to wait for what within an assembly.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path as FilePath
from unittest.mock import patch

sys.path.insert(0, str(FilePath(__file__).parents[1]))

from benchmarks.order_routing import routed
from nestkit.build.model import Assembly, Build, Cutter, Part, Sheet
from nestkit.checking import check_folder
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import LABEL_LAYER
from nestkit.cutting.route import Route, shortest
from nestkit.cutting.route_entries import Task
from nestkit.geometry import Outline, Path, Placement, Shape
from nestkit.nesting.model import Group, PlacedPart, Plan, PlannedSheet
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from nestkit.preparing import read_build

ROUTING_HEAD = ["routing, m", "ours against it", "routing free, m", "ours free, m", "against it", "its s"]
SAMPLES = FilePath(__file__).parents[1] / "samples"


def generated(paths: int, seed: int, labels: bool = False) -> tuple[Build, Plan]:
    """A build with about so many closed paths, laid on one sheet; a third of the parts are glued first."""
    draw = random.Random(seed)
    count = paths // 3
    columns = math.ceil(math.sqrt(1.6 * count))
    parts, placed = [], []
    for k in range(count):
        width, height = draw.uniform(25, 56), draw.uniform(25, 56)
        holes = tuple(
            Path.circle(width * share, height / 2, draw.uniform(2, 5)).reversed() for share in (0.27, 0.73)
        )
        edge = Path.polyline([(0, 0), (width, 0), (width, height), (width / 8, height)], True)
        edge = (
            edge
            if draw.random() < 0.5
            else Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True)
        )
        assembly = draw.choice(["lamp", "mast", ""])
        part = Part(f"part {k}", Shape(Outline(edge, holes)), "eva", 6.0, 1, assembly=assembly, label=labels)
        parts.append(part)
        x, y = (
            5.0 + 60.0 * (k % columns) + draw.uniform(0, 2),
            5.0 + 60.0 * (k // columns) + draw.uniform(0, 2),
        )
        placed.append(PlacedPart(part, 1, Placement(x, y, 0.0)))
    size = (60.0 * columns + 10, 60.0 * math.ceil(count / columns) + 10)
    outline = Outline(Path.polyline([(0, 0), (size[0], 0), size, (0, size[1])], True))
    sheet = PlannedSheet(1, "generated", 1, True, None, "eva", 6.0, outline, "laser", tuple(placed))
    assemblies = (Assembly("lamp", 1), Assembly("mast", 2))
    cutter = Cutter(kerf=0.2, bed=size)
    kinds = (Sheet("generated", "eva", 6.0, size),)
    build = Build(
        "generated", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, cutter, kinds, assemblies, tuple(parts)
    )
    group = Group("eva", 6.0, count, 1, 1, True, 1.0 - sheet.fill, 0.0, (("generated", 1),))
    return build, Plan("generated", 1.0, seed, (group,), (sheet,), ())


def verdict(build: Build, plan: Plan) -> str:
    """What the check says of the files that are written."""
    with tempfile.TemporaryDirectory() as folder:
        out = FilePath(folder) / "out"
        write_plan(build, plan, make_jobs(build, plan.sheets), out)
        faults = check_folder(out).faults
    return f"{len(faults)} faults" if faults else "right"


def row(name: str, build: Build, plan: Plan, routing: float) -> None:
    """Make the jobs for the cutter and print what came of them."""
    sheets = [sheet for sheet in plan.sheets if sheet.how != "hand"]
    asked: list[Sequence[Task]] = []

    def noted(tasks: Sequence[Task], rough: bool = False) -> Route:
        asked.append(tasks)
        return shortest(tasks, rough=rough)

    with patch("nestkit.cutting.order.shortest", noted):
        began = time.process_time()
        jobs = make_jobs(build, sheets)
        seconds = time.process_time() - began
    strokes = [stroke for job in jobs for stroke in job.strokes]
    travel, nearest, least = (
        sum(getattr(job, key) for job in jobs) for key in ("travel", "nearest", "least")
    )
    cells: list[object] = [
        name,
        len(jobs),
        len(strokes),
        sum(stroke.layer == LABEL_LAYER for stroke in strokes),
        f"{nearest / 1000:.2f}",
        f"{travel / 1000:.2f}",
        f"{travel / nearest - 1:+.0%}",
        f"{least / 1000:.2f}",
        f"{travel / least - 1:.0%}",
        f"{seconds:.1f}",
        verdict(build, plan),
    ]
    if routing:
        given = [routing * max(1.0, len(tasks) / 200) for tasks in asked]
        theirs = sum(routed(*each) for each in zip(asked, given, strict=True))
        cells += [f"{theirs / 1000:.2f}", f"{travel / theirs - 1:+.1%}"]
        free = [[replace(task, waits=None) for task in tasks] for tasks in asked]
        theirs = sum(routed(*each) for each in zip(free, given, strict=True))
        ours = sum(shortest(tasks).travel for tasks in free)
        cells += [f"{theirs / 1000:.2f}", f"{ours / 1000:.2f}", f"{ours / theirs - 1:+.1%}"]
        cells.append(f"{sum(given):.0f}")
    print("| " + " | ".join(str(cell) for cell in cells) + " |", flush=True)


def main() -> None:
    """Print a table."""
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("--rounds", type=int, default=4)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--routing", type=float, default=0.0)
    chosen = options.parse_args()
    warm, laid = generated(60, 7)
    make_jobs(warm, laid.sheets)
    head = [
        "build",
        "jobs",
        "paths",
        "of labels",
        "nearest, m",
        "travel, m",
        "change",
        "bound, m",
        "over it",
        "s",
        "check",
    ]
    head += ROUTING_HEAD if chosen.routing else []
    print("| " + " | ".join(head) + " |")
    print("|---" * len(head) + "|")
    for name in ("halberd", "lantern"):
        build = read_build(SAMPLES / name / "build.toml", None)
        plan = make_plan(build, Effort(rounds=chosen.rounds, seed=chosen.seed)).plan
        row(name, build, plan, chosen.routing)
    for paths, labels in product((200, 1000), (False, True)):
        name = f"generated, {paths} paths{' and labels' if labels else ''}"
        row(name, *generated(paths, chosen.seed, labels), chosen.routing)


if __name__ == "__main__":
    main()
