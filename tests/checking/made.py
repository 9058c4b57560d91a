"""A plan folder made without any of nestkit's code, for the check to judge.

Two sheets. Sheet 1 (laser, kerf 0.2 mm): a plate with a window, a round hole and a mark; a puck in that
window and one outside; a mirrored pair of wings, each with a fold in two passes; a lever with round ends,
turned by 30 degrees. Sheet 2 (by hand, so without kerf): a brace with a hole, turned by 90 degrees.
"""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import ezdxf

Row = tuple[float, float, float]  # x, y, bulge of the piece that starts there
KERF, GAP, MARGIN = 0.2, 2.0, 5.0
ONE, TWO = "jobs/job-01-eva-6mm.dxf", "jobs/job-02-eva-10mm.dxf"


def corners(*points: tuple[float, float]) -> Callable[[float], list[Row]]:
    """A counter-clockwise ring of straight lines that can be moved outward, its corners kept sharp."""

    def moved(out: float) -> list[Row]:
        rows = []
        for k, (x, y) in enumerate(points):
            (px, py), (nx, ny) = points[k - 1], points[(k + 1) % len(points)]
            ax, ay = (y - py) / math.hypot(x - px, y - py), (px - x) / math.hypot(x - px, y - py)
            bx, by = (ny - y) / math.hypot(nx - x, ny - y), (x - nx) / math.hypot(nx - x, ny - y)
            # The corner moves along the sum of both normals, by out over the cosine of half their angle.
            share = out / (1.0 + ax * bx + ay * by)
            rows.append((x + share * (ax + bx), y + share * (ay + by), 0.0))
        return rows

    return moved


def block(x: float, y: float, width: float, height: float) -> Callable[[float], list[Row]]:
    return corners((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def disc(x: float, y: float, radius: float) -> Callable[[float], list[Row]]:
    return lambda out: [(x + radius + out, y, 1.0), (x - radius - out, y, 1.0)]


def rounded(length: float, radius: float) -> Callable[[float], list[Row]]:
    """A strip with half-round ends, `length` between their centres; its bounds start at (0, 0)."""
    a, b, c = radius, radius + length, radius
    return lambda out: [
        (a, c - radius - out, 0.0),
        (b, c - radius - out, 1.0),
        (b, c + radius + out, 0.0),
        (a, c + radius + out, 1.0),
    ]


@dataclass(frozen=True)
class Spec:
    name: str
    thickness: float
    copies: int
    outline: Callable[[float], list[Row]]
    size: tuple[float, float]
    area: float
    holes: tuple[Callable[[float], list[Row]], ...] = ()
    marks: tuple[tuple[str, bool, list[Row]], ...] = ()  # layer, closed, rows
    lines: int = 0
    pairs: bool = False


WING = ((0.0, 0.0), (90.0, 0.0), (90.0, 30.0), (40.0, 60.0), (0.0, 45.0))
SPECS = {
    spec.name: spec
    for spec in (
        Spec(
            "plate",
            6.0,
            1,
            block(0, 0, 200, 120),
            (200.0, 120.0),
            24000 - 6400 - math.pi * 100,
            (block(20, 20, 80, 80), disc(150, 60, 10)),
            (("MARK", False, [(110.0, 10.0, 0.0), (190.0, 10.0, 0.0)]),),
            1,
        ),
        Spec("puck", 6.0, 2, disc(15, 15, 15), (30.0, 30.0), math.pi * 225),
        Spec(
            "wing",
            6.0,
            2,
            corners(*WING),
            (90.0, 60.0),
            4350.0,  # shoelace
            marks=(
                ("POCKET_01", True, block(10, 10, 40, 12)(0)),
                ("POCKET_02", True, block(10, 14, 40, 4)(0)),
            ),
            lines=1,
            pairs=True,
        ),
        Spec("lever", 6.0, 1, rounded(100, 8), (116.0, 16.0), 1600 + math.pi * 64),
        Spec("brace", 10.0, 1, block(0, 0, 150, 40), (150.0, 40.0), 6000 - 400, (block(30, 10, 20, 20),)),
    )
}


@dataclass(frozen=True)
class Spot:
    """Where a copy lies: mirrored, turned (degrees), then moved."""

    part: str
    copy: int
    x: float
    y: float
    turn: float = 0.0
    mirrored: bool = False

    def put(self, rows: list[Row]) -> list[Row]:
        flip = -1.0 if self.mirrored else 1.0
        cos, sin = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
        return [
            (self.x + cos * flip * x - sin * y, self.y + sin * flip * x + cos * y, flip * bulge)
            for x, y, bulge in rows
        ]


SPOTS = {
    ONE: (
        Spot("puck", 1, 40, 45),  # in the plate's window, whose corner lies at (30, 30)
        Spot("plate", 1, 10, 10),
        Spot("wing", 1, 10, 140),
        Spot("wing", 2, 200, 140, mirrored=True),
        Spot("lever", 1, 230, 150, 30.0),
        Spot("puck", 2, 220, 20),
    ),
    TWO: (Spot("brace", 1, 60, 10, 90.0),),
}
BLANKS = {ONE: (400.0, 250.0), TWO: (100.0, 200.0)}


@dataclass(frozen=True)
class Entity:
    layer: str
    rows: list[Row]
    closed: bool = True
    part: str = ""
    copy: int = 0
    kind: str = "LWPOLYLINE"
    width: float = 0.0

    def shifted(self, dx: float, dy: float) -> Entity:
        return replace(self, rows=[(x + dx, y + dy, b) for x, y, b in self.rows])

    def scaled(self, factor: float) -> Entity:
        return replace(self, rows=[(x * factor, y * factor, b) for x, y, b in self.rows])


@dataclass
class Made:
    """The folder before it is written; tests plant their faults here."""

    plan: dict[str, Any]
    jobs: dict[str, list[Entity]]
    header: dict[str, int] = field(default_factory=lambda: {"$INSUNITS": 4, "$MEASUREMENT": 1})
    version: str = "R2010"
    extrusion: dict[int, tuple[float, float, float]] = field(default_factory=dict)
    layers_off: tuple[str, ...] = ()
    layers_renamed: dict[str, str] = field(default_factory=dict)  # in the list of layers alone
    on_paper: tuple[tuple[float, float], ...] = ()  # points in paper space

    def find(self, job: str, layer: str, part: str, copy_number: int = 1, nth: int = 0) -> int:
        return [
            k
            for k, one in enumerate(self.jobs[job])
            if (one.layer, one.part, one.copy) == (layer, part, copy_number)
        ][nth]

    def change(self, job: str, index: int, **fields: Any) -> None:
        self.jobs[job][index] = replace(self.jobs[job][index], **fields)

    def every(self, job: str, part: str, copy_number: int, action: Callable[[Entity], Entity]) -> None:
        """Change all entities of one copy."""
        self.jobs[job] = [
            action(one) if (one.part, one.copy) == (part, copy_number) else one for one in self.jobs[job]
        ]

    def move_to(self, job: str, index: int, place: int) -> None:
        entities = self.jobs[job]
        entities.insert(place, entities.pop(index))

    def spot(self, part: str, copy_number: int = 1) -> dict:
        """The copy's place in the plan."""
        return next(
            one
            for sheet in self.plan["sheets"]
            for one in sheet["parts"]
            if (one["part"], one["copy"]) == (part, copy_number)
        )

    def write(self, folder: Path, sizes: dict[str, tuple[float, float]] = BLANKS) -> Path:
        (folder / "jobs").mkdir(parents=True, exist_ok=True)
        (folder / "plan.json").write_text(json.dumps(self.plan), encoding="utf-8")
        for name in ("report.html", "shopping.csv", "cutting.csv", "jobs.csv", "layers.csv", "gluing.csv"):
            (folder / name).write_text("", encoding="utf-8")
        for name, entities in self.jobs.items():
            document = ezdxf.new(self.version)
            for key, value in self.header.items():
                document.header[key] = value
            document.appids.new("NESTKIT")
            for layer in {one.layer for one in entities} - {"0"}:
                document.layers.add(self.layers_renamed.get(layer, layer))
            for layer in self.layers_off:
                document.layers.get(layer).off()
            space = document.modelspace()
            for k, one in enumerate(entities):
                attributes: dict[str, Any] = {"layer": one.layer}
                if one.kind == "LINE":
                    entity = space.add_line(one.rows[0][:2], one.rows[1][:2], attributes)
                else:
                    if k in self.extrusion:
                        attributes["extrusion"] = self.extrusion[k]
                    entity = space.add_lwpolyline(one.rows, "xyb", close=one.closed, dxfattribs=attributes)
                    if one.width:
                        entity.dxf.const_width = one.width
                if one.part:
                    entity.set_xdata("NESTKIT", [(1000, one.part), (1071, one.copy)])
            for point in self.on_paper:
                document.paperspace().add_point(point)
            document.saveas(folder / name)
            (folder / name).with_suffix(".svg").write_text(svg(entities, sizes[name]), encoding="utf-8")
        return folder


def made(specs: dict[str, Spec] = SPECS) -> Made:
    """A folder in which all is right."""
    jobs = {}
    for name, spots in SPOTS.items():
        half = KERF / 2 if name == ONE else 0.0
        width, height = BLANKS[name]
        marks: list[Entity] = []
        cuts: list[Entity] = []
        for spot in spots:
            spec, whose = specs[spot.part], (spot.part, spot.copy)
            marks += [Entity(layer, spot.put(rows), closed, *whose) for layer, closed, rows in spec.marks]
            cuts += [Entity("CUT_INSIDE", spot.put(hole(-half)), True, *whose) for hole in spec.holes]
            cuts.append(Entity("CUT_OUTSIDE", spot.put(spec.outline(half)), True, *whose))
        jobs[name] = [Entity("SHEET", block(0, 0, width, height)(0)), *marks, *cuts]
    return Made(copy.deepcopy(_plan(specs, jobs)), jobs)


def _plan(specs: dict[str, Spec], jobs: dict[str, list[Entity]]) -> dict:
    sheets = [_sheet(k, name, specs, jobs[name]) for k, name in enumerate(SPOTS, start=1)]
    return {
        "format": "nestkit-plan",
        "version": 1,
        "build": "harbour bell",
        "unit": "mm",
        "scale": 1.0,
        "seed": 1,
        "cutter": {"kind": "laser", "bed_mm": [400.0, 300.0], "kerf_mm": KERF},
        "layout": {"gap_mm": GAP, "margin_mm": MARGIN},
        "assemblies": [],
        "parts": [
            {
                "part": spec.name,
                "material": "eva",
                "thickness_mm": spec.thickness,
                "copies": spec.copies,
                "spares": 0,
                "mirrored_pairs": spec.pairs,
                "assembly": "",
                "width_mm": spec.size[0],
                "height_mm": spec.size[1],
                "area_mm2": round(spec.area, 4),
                "cut_length_mm": 0.0,
                "holes": len(spec.holes),
                "lines": spec.lines,
            }
            for spec in specs.values()
        ],
        "groups": [
            {
                "material": "eva",
                "thickness_mm": sheet["thickness_mm"],
                "parts": len(sheet["parts"]),
                "sheets_used": 1,
                "sheets_at_least": 1,
                "proven": True,
                "waste": round(1.0 - sheet["fill"], 4),
                "proven_by": "area",
                "at_any_price": True,
                "cost": 9.5,
                "cost_at_least": 9.5,
                "to_buy": [{"stock": sheet["stock"], "count": 1}],
                "unused": [],
                "from_shop": [],
            }
            for sheet in sheets
        ],
        "sheets": sheets,
        "unplaced": [],
    }


def _sheet(index: int, name: str, specs: dict[str, Spec], entities: list[Entity]) -> dict:
    width, height = BLANKS[name]
    thickness = 6.0 if name == ONE else 10.0
    placed = []
    for spot in SPOTS[name]:
        spec = specs[spot.part]
        placed.append(
            {
                "part": spot.part,
                "copy": spot.copy,
                "assembly": "",
                "x_mm": spot.x,
                "y_mm": spot.y,
                "turn_deg": spot.turn,
                "mirrored": spot.mirrored,
                "outline_mm": flat(spot.put(spec.outline(0.0))),
                "holes_mm": [flat(spot.put(hole(0.0))) for hole in spec.holes],
            }
        )
    area = sum(specs[spot.part].area for spot in SPOTS[name])
    return {
        "index": index,
        "stock": f"eva {thickness:g} mm",
        "stock_number": 1,
        "bought": True,
        "blank_origin_mm": None,
        "material": "eva",
        "thickness_mm": thickness,
        "outline_mm": [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]],
        "holes_mm": [],
        "how": "laser" if name == ONE else "hand",
        "fill": round(area / (width * height), 4),
        "job": name,
        "cut_length_mm": sum(length(one.rows) for one in entities if one.layer.startswith("CUT")),
        "travel_mm": 0.0,
        "travel_at_least_mm": 0.0,
        "travel_nearest_mm": 0.0,
        "seconds": 0.0,
        "times": dict.fromkeys(("cutting", "marking", "travel", "etching", "starts"), 0.0),
        "parts": placed,
    }


def flat(rows: list[Row], steps: int = 40) -> list[list[float]]:
    """Corners of a ring; half circles (the only arcs here) in equal steps, within 0.05 mm."""
    points = []
    for (x0, y0, bulge), (x1, y1, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
        points.append([round(x0, 4), round(y0, 4)])
        if bulge:
            cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
            for k in range(1, steps):
                turn = bulge * math.pi * k / steps
                dx, dy = x0 - cx, y0 - cy
                x = cx + dx * math.cos(turn) - dy * math.sin(turn)
                y = cy + dx * math.sin(turn) + dy * math.cos(turn)
                points.append([round(x, 4), round(y, 4)])
    return points


def length(rows: list[Row]) -> float:
    """Length of a ring of lines and half circles."""
    return sum(
        math.hypot(x1 - x0, y1 - y0) * (math.pi / 2 if bulge else 1.0)
        for (x0, y0, bulge), (x1, y1, _) in zip(rows, [*rows[1:], rows[0]], strict=True)
    )


def svg(entities: list[Entity], size: tuple[float, float]) -> str:
    """The same entities as SVG, y turned over."""
    width, height = size
    groups = []
    for layer in dict.fromkeys(one.layer for one in entities):
        paths = []
        for one in (one for one in entities if one.layer == layer):
            rows, words = one.rows, []
            ends = [*rows[1:], rows[0]] if one.closed else rows[1:]
            words.append(f"M{rows[0][0]},{height - rows[0][1]}")
            for (x0, y0, bulge), (x1, y1, _) in zip(rows, ends, strict=False):
                radius = math.hypot(x1 - x0, y1 - y0) / 2
                arc = f"A{radius},{radius} 0 0 {0 if bulge > 0 else 1} " if bulge else "L"
                words.append(f"{arc}{x1},{height - y1}")
            close = "Z" if one.closed else ""
            paths.append(f'<path d="{"".join(words)}{close}" data-part="{one.part}" data-copy="{one.copy}"/>')
        groups.append(f'<g id="{layer}">{"".join(paths)}</g>')
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm"'
    return f'{head} viewBox="0 0 {width} {height}">{"".join(groups)}</svg>'
