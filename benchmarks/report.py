"""How long the report of a large build takes: to be written, and to be shown by a browser.

    python benchmarks/report.py [--parts 500] [--times 5]

Every part differs from the others and has 60 vertices, a hole, two marks and a fold; they lie in rows on
sheets of 1200 x 600 mm. Needs chromium and chromedriver on the path.
"""

from __future__ import annotations

import argparse
import math
import random
import shutil
import statistics
import tempfile
import time
from pathlib import Path as FilePath

from selenium import webdriver

from nestkit.build.model import Assembly, Build, Cutter, Part, Sheet
from nestkit.cutting.jobs import make_jobs
from nestkit.geometry import Line, LineKind, Outline, Path, Placement, Shape
from nestkit.nesting.model import Group, PlacedPart, Plan, PlannedSheet
from nestkit.output.report import report_bytes

SIDE, GAP = (1200.0, 600.0), 4.0


def part(number: int, chance: random.Random) -> Part:
    """A bumpy disc of its own, 40 to 80 mm wide."""
    radius = chance.uniform(20.0, 40.0)
    bumps = chance.randint(3, 9)
    points = []
    for k in range(60):
        angle = math.tau * k / 60
        r = radius * (1.0 + 0.15 * math.sin(bumps * angle))
        points.append((r * math.cos(angle), r * math.sin(angle)))
    lines = [
        Line(LineKind.MARK, Path.polyline([(-8.0, y), (8.0, y)], False)) for y in (radius * 0.5, radius * 0.6)
    ]
    fold = Line(LineKind.FOLD, Path.polyline([(-9.0, -radius / 2), (9.0, -radius / 2)], False), 1.0)
    shape = Shape(Outline(Path.polyline(points, True), (Path.circle(0.0, 0.0, 5.0),)), (*lines, fold))
    return Part(f"part {number}", shape.at_origin(), "eva", 6.0, assembly=f"assembly {number % 9}")


def case(count: int) -> tuple[Build, Plan]:
    """A build of so many parts, and its plan."""
    chance = random.Random(1)
    parts = tuple(part(number, chance) for number in range(1, count + 1))
    sheet = Sheet("eva 6 mm", "eva", 6.0, SIDE, 9.5)
    build = Build(
        "Five hundred",
        FilePath("build.toml"),
        "mm",
        1.0,
        2.0,
        5.0,
        Cutter("laser", SIDE, 0.2),
        (sheet,),
        tuple(Assembly(f"assembly {k}", k) for k in range(9)),
        parts,
    )
    rows: list[list[PlacedPart]] = [[]]
    x = y = row = 5.0
    for each in parts:
        w, h = each.shape.outline.size
        if x + w > SIDE[0] - 5.0:
            x, y = 5.0, row + GAP
        if y + h > SIDE[1] - 5.0:
            rows.append([])
            x = y = row = 5.0
        rows[-1].append(PlacedPart(each, 1, Placement(x, y)))
        x, row = x + w + GAP, max(row, y + h)
    edge = Outline(Path.polyline([(0, 0), (SIDE[0], 0), SIDE, (0, SIDE[1])], True))
    sheets = tuple(
        PlannedSheet(number, sheet.name, number, True, None, "eva", 6.0, edge, "laser", tuple(placed))
        for number, placed in enumerate(rows, start=1)
    )
    group = Group("eva", 6.0, count, len(sheets), 1, False, 0.5, 9.5 * len(sheets))
    return build, Plan(build.name, 1.0, 1, (group,), sheets, ())


def loads(page: FilePath, times: int) -> list[float]:
    """Seconds from the start of the navigation to the end of the load event."""
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for flag in (
        "headless=new",
        "no-sandbox",
        "disable-gpu",
        "disable-dev-shm-usage",
        "window-size=1400,900",
    ):
        options.add_argument(f"--{flag}")
    with webdriver.Chrome(
        options=options, service=webdriver.ChromeService(shutil.which("chromedriver"))
    ) as chrome:
        found = []
        for _ in range(times):
            chrome.get("about:blank")
            chrome.get(page.as_uri())
            found.append(
                chrome.execute_script("return performance.getEntriesByType('navigation')[0].loadEventEnd")
                / 1e3
            )
    return found


def main() -> None:
    """Prints one line."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=500)
    options.add_argument("--times", type=int, default=5)
    asked = options.parse_args()
    build, plan = case(asked.parts)
    jobs = make_jobs(build, plan.sheets)
    began = time.perf_counter()
    page = report_bytes(build, plan, jobs)
    written = time.perf_counter() - began
    with tempfile.TemporaryDirectory() as folder:
        file = FilePath(folder) / "report.html"
        file.write_bytes(page)
        shown = loads(file, asked.times)
    print(
        f"{asked.parts} parts on {len(jobs)} sheets: {len(page) / 1e6:.2f} MB, written in {written:.1f} s, "
        f"loaded in {statistics.median(shown):.2f} s (median of {len(shown)}, worst {max(shown):.2f})"
    )


if __name__ == "__main__":
    main()
