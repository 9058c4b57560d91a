"""Strip packing on open benchmark data: density against the published best.

    python benchmarks/strips.py --data DIR [--only a,b] [--seconds S] [--seed N] [--jobs J]
                                [--baseline] [--json FILE] [--pictures DIR]

DIR holds files like ``{"name", "strip_width", "parts": [{"quantity", "turns_deg", "outline"}]}``, itself
or in a folder ``strips``. Density is the parts' area over width times used length. With ``--pictures`` each
layout is drawn as NAME.svg.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path as FilePath

import shapely
from shapely.geometry import Polygon

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path
from nestkit.nesting import search as first_engine
from nestkit.nesting.overlap import pack_strip
from nestkit.nesting.problem import Bin, Item, Layout, Spacing
from nestkit.nesting.stops import AfterSeconds
from nestkit.nesting.verify import faults

#: Best densities in print, percent: A. Elkeran 2013, EJOR 231, and papers quoted there (from memory).
PUBLISHED = {
    "albano": 89.58, "dagli": 89.51, "dighe1": 100.0, "dighe2": 100.0, "fu": 92.41, "mao": 85.44,
    "marques": 90.59, "shapes0": 68.79, "shapes1": 76.73, "shirts": 88.96, "swim": 75.94, "trousers": 91.00,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One instance's outcome."""

    name: str
    density: float
    length: float
    seconds: float
    verified: bool
    first_engine: float | None = None


def read(path: FilePath) -> tuple[str, list[Item], float]:
    """Name, items and strip width of an instance."""
    data = json.loads(path.read_text())
    items = [
        Item(
            Outline(Path.polyline(part["outline"], True)),
            Turns(tuple(sorted(math.radians(turn) for turn in part["turns_deg"]))),
            kind=kind,
        )
        for kind, part in enumerate(data["parts"])
        for _ in range(part["quantity"])
    ]
    return data["name"], items, float(data["strip_width"])


def judged(items: list[Item], width: float, layout: Layout, length: float) -> bool:
    """Whether a layout is sound, by `nesting.verify` and by a check of its own on the outlines' corners."""
    sheet = Bin(Outline(Path.polyline([(0, 0), (length, 0), (length, width), (0, width)], True)))
    if layout.left_out or faults(items, [sheet], layout, Spacing()):
        return False
    shapes = [
        Polygon(items[seat.item].outline.transformed(seat.placement.matrix).exterior.points)
        for seat in layout.seats
    ]
    slack = 1e-9 * length
    inside = all(
        x0 >= -slack and y0 >= -slack and x1 <= length + slack and y1 <= width + slack
        for x0, y0, x1, y1 in (shape.bounds for shape in shapes)
    )
    tree = shapely.STRtree(shapes)
    pairs = [(int(a), int(b)) for a, b in tree.query(shapes).T if a < b]
    return inside and all(
        shapes[a].intersection(shapes[b]).area <= 1e-9 * min(shapes[a].area, shapes[b].area) for a, b in pairs
    )


def baseline(items: list[Item], width: float, seconds: float, seed: int) -> float:
    """Density of the bottom-left engine's best strip in the same time, percent."""
    area = sum(item.outline.area for item in items)
    length = 4.0 * area / width + sum(item.outline.size[0] for item in items) / len(items)
    sheet = Bin(Outline(Path.polyline([(0, 0), (length, 0), (length, width), (0, width)], True)))

    def used(layout: Layout) -> float:
        return max(
            (items[seat.item].outline.transformed(seat.placement.matrix).bounds[2] for seat in layout.seats),
            default=0.0,
        )

    found = first_engine.search(
        items, [sheet], Spacing(),
        score=lambda layout: (float(len(layout.left_out)), used(layout)),
        enough=lambda score: False, seed=seed, stop=AfterSeconds(seconds),
    )  # fmt: skip
    return 0.0 if found.layout.left_out else 100.0 * area / width / used(found.layout)


def picture(items: list[Item], width: float, layout: Layout, length: float) -> str:
    """The strip and what lies on it as SVG, 800 units long; parts of one kind are alike in colour."""
    scale = 800.0 / length
    kinds = max(item.kind for item in items) + 1
    box = f"-2 -2 {length * scale + 4:.1f} {width * scale + 4:.1f}"
    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}">',
        f'<rect width="{length * scale:.2f}" height="{width * scale:.2f}" fill="none" stroke="black"/>',
    ]
    for seat in layout.seats:
        item = items[seat.item]
        points = item.outline.transformed(seat.placement.matrix).exterior.points
        corners = " ".join(f"{x * scale:.2f},{(width - y) * scale:.2f}" for x, y in points)
        colour = f"hsl({round(360 * item.kind / kinds)}, 45%, 78%)"
        rows.append(f'<polygon points="{corners}" fill="{colour}" stroke="black" stroke-width="0.6"/>')
    return "\n".join([*rows, "</svg>\n"])


def measure(
    path: FilePath,
    seconds: float,
    seed: int,
    jobs: int,
    with_baseline: bool,
    pictures: FilePath | None,
) -> Row:
    """Packs one instance."""
    name, items, width = read(path)
    result = pack_strip(items, width, seed=seed, stop=AfterSeconds(seconds), jobs=jobs)
    length = result.score.end
    area = sum(item.outline.area for item in items)
    if pictures is not None and length:
        pictures.mkdir(parents=True, exist_ok=True)
        (pictures / f"{name}.svg").write_text(picture(items, width, result.layout, length))
    return Row(
        name=name,
        density=100.0 * area / width / length if length else 0.0,
        length=length,
        seconds=result.trace[-1].seconds if result.trace else 0.0,
        verified=judged(items, width, result.layout, length),
        first_engine=baseline(items, width, seconds, seed) if with_baseline else None,
    )


def main() -> int:
    """Prints the table; exit code 1 when a layout does not hold."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--data", type=FilePath, required=True)
    parser.add_argument("--only", default="", help="names, separated by commas")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument(
        "--baseline", action="store_true", help="the bottom-left engine too, in the same time"
    )
    parser.add_argument("--json", type=FilePath, help="also write the rows here")
    parser.add_argument("--pictures", type=FilePath, metavar="DIR", help="also draw the layouts there")
    options = parser.parse_args()
    folder = options.data / "strips" if (options.data / "strips").is_dir() else options.data
    only = set(filter(None, options.only.split(",")))
    files = [path for path in sorted(folder.glob("*.json")) if not only or path.stem in only]
    if not files:
        print(f"{folder}: no strip files here", file=sys.stderr)
        return 2
    print(
        f"{'instance':10} {'density':>8} {'length':>10} {'best at':>8} verified {'published':>9} {'diff':>6}"
        "  first engine"
    )
    rows, differences = [], []
    for path in files:
        row = measure(path, options.seconds, options.seed, options.jobs, options.baseline, options.pictures)
        rows.append(row)
        best = PUBLISHED.get(row.name)
        if best is not None:
            differences.append(row.density - best)
        told = f"{best:9.2f} {row.density - best:+6.2f}" if best is not None else f"{'':9} {'':6}"
        first = f"{row.first_engine:8.2f}" if row.first_engine is not None else ""
        print(
            f"{row.name:10} {row.density:8.2f} {row.length:10.3f} {row.seconds:7.1f}s "
            f"{'yes' if row.verified else 'NO':8} {told}  {first}",
            flush=True,
        )
    if differences:
        print(f"mean difference from the published best: {sum(differences) / len(differences):+.2f}")
    if options.json:
        keys = ("name", "density", "length", "seconds", "verified")
        options.json.write_text(
            json.dumps([{key: getattr(row, key) for key in keys} for row in rows], indent=1)
        )
    return 0 if all(row.verified for row in rows) else 1


if __name__ == "__main__":
    raise SystemExit(main())
