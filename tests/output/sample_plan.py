"""A storm lantern for a harbour pageant: a build with its plan and jobs, made by hand for these tests."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath

import numpy as np

from nestkit.build.model import Assembly, Build, Cutter, Part, Sheet
from nestkit.cutting.model import (
    CUT_INSIDE_LAYER,
    CUT_OUTSIDE_LAYER,
    LABEL_LAYER,
    MARK_LAYER,
    Job,
    Stroke,
    Times,
    pocket_layer,
)
from nestkit.errors import Finding
from nestkit.geometry import Line, LineKind, Outline, Path, Placement, Shape
from nestkit.geometry.arcs import bulge_of
from nestkit.nesting.model import Group, PlacedPart, Plan, PlannedSheet, Unplaced

QUARTER = bulge_of(math.pi / 2.0)


def rectangle(width: float, height: float, radius: float = 0.0) -> Path:
    """A rectangle with its lower left corner at the origin, its corners rounded."""
    w, h, r = width, height, radius
    if not r:
        return Path.polyline([(0, 0), (w, 0), (w, h), (0, h)], True)
    b = QUARTER
    rows = [
        (r, 0, 0),
        (w - r, 0, b),
        (w, r, 0),
        (w, h - r, b),
        (w - r, h, 0),
        (r, h, b),
        (0, h - r, 0),
        (0, r, b),
    ]
    return Path(np.array(rows, dtype=float), True)


def disc(radius: float, *holes: float) -> Shape:
    """A disc whose box starts at the origin, with round holes of these radii about its middle."""
    rings = [Path.circle(radius, radius, each) for each in (radius, *holes)]
    return Shape(Outline(rings[0], tuple(rings[1:])))


def frame() -> Shape:
    """A window frame: rounded corners, one large opening, a mark and a fold."""
    inner = rectangle(200, 120, 8).transformed(np.array([[1.0, 0, 30], [0, 1.0, 30]]))
    mark = Line(LineKind.MARK, Path.polyline([(10, 15), (250, 15)], False))
    fold = Line(LineKind.FOLD, Path.polyline([(15, 0), (15, 180)], False), math.pi / 2)
    return Shape(Outline(rectangle(260, 180, 20), (inner,)), (mark, fold))


def gore() -> Shape:
    """A slim pointed piece with long arcs."""
    return Shape(Outline(Path(np.array([[0, 0, 0], [90, 0, 0.12], [45, 230, 0.12]], dtype=float), True)))


def build_of(parts: Iterable[Part], **changes: object) -> Build:
    """A build with these parts, and sheets in three thicknesses."""
    settings: dict[str, object] = {
        "name": "Storm lantern",
        "file": FilePath("build.toml"),
        "unit": "mm",
        "scale": 1.0,
        "gap": 2.0,
        "margin": 5.0,
        "cutter": Cutter("laser", (900.0, 600.0), 0.2),
        "sheets": (
            Sheet("eva 4 mm 900 x 600", "eva", 4.0, (900.0, 600.0), 7.5, 1, True),
            Sheet("eva 6 mm 900 x 600", "eva", 6.0, (900.0, 600.0), 9.5, 0, True),
            Sheet("eva 10 mm 1500 x 1000", "eva", 10.0, (1500.0, 1000.0), 24.0, 0, True),
        ),
        "assemblies": (Assembly("base", 1), Assembly("lamp house", 2), Assembly("roof", 3)),
        "parts": tuple(parts),
    }
    return Build(**{**settings, **changes})  # type: ignore[arg-type]


def parts() -> tuple[Part, ...]:
    """The lantern's parts."""
    torn = Finding(
        "open-outline", "the outline had a gap of 0.3 mm", mended=True, file="lantern.svg", id="gore"
    )
    strip = Shape(Outline(rectangle(560, 14)))
    bracket = Shape(Outline(rectangle(70, 40, 6), tuple(Path.circle(x, 20, 4) for x in (15, 35, 55))))
    return (
        Part("foot ring", disc(140, 60), "eva", 10.0, 2, assembly="base"),
        Part("floor", disc(120, 10), "eva", 6.0, 1, assembly="base"),
        Part("window frame", frame(), "eva", 6.0, 4, assembly="lamp house"),
        Part("corner bracket", bracket, "eva", 6.0, 8, 2, True, assembly="lamp house"),
        Part("roof gore", gore(), "eva", 4.0, 6, assembly="roof", findings=(torn,)),
        Part("trim strip", strip, "eva", 4.0, 5, assembly="roof"),
        Part("mast step", Shape(Outline(rectangle(1300, 180, 40))), "eva", 10.0, 1, by_hand=True),
        Part("pennant", Shape(Outline(rectangle(1600, 90))), "eva", 4.0, 1),
    )


def lay(parts_and_copies: Sequence[tuple[Part, int]], width: float) -> tuple[PlacedPart, ...]:
    """The copies side by side in rows from the lower left, those marked as mirrored turned over."""
    placed = []
    x = y = row = 5.0
    for part, copy in parts_and_copies:
        w, h = part.shape.outline.size
        if x + w > width - 5.0 and x > 5.0:
            x, y = 5.0, row
        mirrored = part.is_mirrored(copy)
        placed.append(PlacedPart(part, copy, Placement(x + w if mirrored else x, y, 0.0, mirrored)))
        x += w + 4.0
        row = max(row, y + h + 4.0)
    return tuple(placed)


def job_of(sheet: PlannedSheet, name: str) -> Job:
    """A job with marks and folds first, then holes and outlines of one part after another."""
    strokes: list[Stroke] = []
    for placed in sheet.placed:
        who = (placed.part.name, placed.copy)
        for line in placed.shape.lines:
            layer = MARK_LAYER if line.kind is LineKind.MARK else pocket_layer(1)
            strokes.append(Stroke(layer, line.path, *who, line.kind))
    for placed in sheet.placed:
        who = (placed.part.name, placed.copy)
        outline = placed.shape.outline
        strokes += [Stroke(CUT_INSIDE_LAYER, hole, *who) for hole in outline.holes]
        strokes.append(Stroke(CUT_OUTSIDE_LAYER, outline.exterior, *who))
    first = strokes[0]
    strokes.insert(
        0, Stroke(LABEL_LAYER, Path.polyline([(8, 8), (12, 8)], False), first.part, first.copy, LineKind.MARK)
    )
    travel = 310.0 + 25.0 * len(strokes)
    times = Times(cutting=sum(stroke.path.length for stroke in strokes) / 20.0, travel=travel / 300.0)
    return Job(name, sheet, tuple(strokes), travel, times, nearest=1.2 * travel, least=0.6 * travel)


@dataclass(frozen=True)
class Case:
    """A build with its plan and jobs."""

    build: Build
    plan: Plan
    jobs: tuple[Job, ...]


def sheet_of(index: int, stock: Sheet, placed: tuple[PlacedPart, ...], **changes: object) -> PlannedSheet:
    """A whole bought sheet with these parts on it."""
    settings: dict[str, object] = {
        "index": index,
        "stock": stock.name,
        "stock_number": 1,
        "bought": True,
        "blank_origin": None,
        "material": stock.material,
        "thickness": stock.thickness,
        "outline": Outline(rectangle(*stock.size)),
        "how": "laser",
        "placed": placed,
    }
    return PlannedSheet(**{**settings, **changes})  # type: ignore[arg-type]


def lantern(**changes: object) -> Case:
    """The whole case: a shop sheet, a bought sheet, two blanks, one of them for hand cutting."""
    ring, floor, window, bracket, leaf, strip, mast, pennant = parts()
    build = build_of((ring, floor, window, bracket, leaf, strip, mast, pennant), **changes)
    thin, middle, thick = build.sheets

    def copies(*wanted: Part) -> list[tuple[Part, int]]:
        return [(part, copy) for part in wanted for copy in range(1, part.copies + 1)]

    sheets = (
        sheet_of(1, thin, lay(copies(strip, leaf), 900), bought=False),
        sheet_of(2, middle, lay(copies(window, floor, bracket), 900)),
        sheet_of(
            3, thick, lay(copies(ring), 900), blank_origin=(0.0, 0.0), outline=Outline(rectangle(900, 600))
        ),
        sheet_of(
            4,
            thick,
            lay(copies(mast), 1400),
            blank_origin=(0.0, 600.0),
            outline=Outline(rectangle(1400, 300)),
            how="hand",
        ),
    )
    groups = (
        Group("eva", 4.0, 12, 1, 1, False, 0.52, 0.0, (), ((thin.name, 1),)),
        Group("eva", 6.0, 13, 1, 1, True, 0.46, 9.5, ((middle.name, 1),), cost_at_least=9.5),
        Group("eva", 10.0, 3, 1, 1, True, 0.61, 24.0, ((thick.name, 1),), cost_at_least=24.0),
    )
    left = (Unplaced(pennant, 1, "it is 1600 mm long and fits on no sheet at any allowed turn"),)
    plan = Plan(build.name, build.scale, 1, groups, sheets, left)
    names = ("job-01-eva-4mm", "job-02-eva-6mm", "job-03-eva-10mm", "job-04-eva-10mm-hand")
    jobs = tuple(job_of(sheet, name) for sheet, name in zip(sheets, names, strict=True))
    return Case(build, plan, jobs)


def named(name: str, *, material: str = "eva") -> Case:
    """A small case in which everything that a maker can name is called ``name``."""
    part = Part(
        name, disc(30, 10), material, 6.0, 1, assembly=name, source=name, findings=(Finding("f", name),)
    )
    sheet = Sheet(name, material, 6.0, (200.0, 100.0), 3.0)
    build = build_of([part], name=name, sheets=(sheet,), assemblies=(Assembly(name),))
    planned = sheet_of(1, sheet, lay([(part, 1)], 200))
    groups = (Group(material, 6.0, 2, 1, 1, False, 0.8, 3.0, ((name, 1),)),)
    plan = Plan(name, 1.0, 1, groups, (planned,), (Unplaced(part, 2, name),))
    return Case(build, plan, (job_of(planned, "job-01"),))
