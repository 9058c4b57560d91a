"""Judges a layout on the true outlines, with shapely alone and none of the engine's own geometry."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import STRtree

from nestkit.nesting.problem import Bin, Item, Layout, Spacing

#: Arcs are flattened this finely before they are judged, mm.
FINE = 0.002


def faults(
    items: Sequence[Item], bins: Sequence[Bin], layout: Layout, spacing: Spacing, tolerance: float = 0.01
) -> list[str]:
    """What is wrong with a layout; empty when nothing is.

    Checked: every item seated once or left out, allowed turns, mirroring, inside the bin less the
    margin, no overlap (area within 1e-9 of the smaller part), gap kept within ``tolerance`` mm.
    """
    found: list[str] = []
    numbers = sorted([seat.item for seat in layout.seats] + list(layout.left_out))
    if numbers != list(range(len(items))):
        found.append("items are lost or doubled")
    by_bin: dict[int, list[int]] = {}
    polygons = []
    for k, seat in enumerate(layout.seats):
        item = items[seat.item]
        if seat.placement.mirrored != item.mirrored:
            found.append(f"item {seat.item} is mirrored wrongly")
        allowed = item.turns.angles
        if allowed is not None and not any(
            abs(np.angle(np.exp(1j * (seat.placement.turn - turn)))) < 1e-9 for turn in allowed
        ):
            found.append(f"item {seat.item} is turned by {np.degrees(seat.placement.turn):.3f} degrees")
        polygons.append(item.outline.transformed(seat.placement.matrix).polygon(FINE))
        by_bin.setdefault(seat.bin, []).append(k)
    for number, members in by_bin.items():
        room = bins[number].outline.polygon(FINE)
        edge = shapely.boundary(room)
        shapes = [polygons[k] for k in members]
        # How far something leaves the sheet counts, not how much of it: strips are long and narrow.
        almost = shapely.buffer(room, tolerance, join_style="mitre")
        for k, shape in zip(members, shapes, strict=True):
            if not shapely.covers(almost, shape) or (
                spacing.margin > 0.0 and shapely.distance(shape, edge) < spacing.margin - tolerance
            ):
                found.append(f"item {layout.seats[k].item} leaves bin {number} or its margin")
        tree = STRtree(shapes)
        first, second = tree.query(shapes, predicate="dwithin", distance=spacing.gap + tolerance)
        for i, j in zip(first, second, strict=True):
            if i >= j:
                continue
            a, b = shapes[i], shapes[j]
            pair = f"items {layout.seats[members[i]].item} and {layout.seats[members[j]].item}"
            shared = shapely.area(shapely.intersection(a, b))
            if shared > max(1e-9 * min(a.area, b.area), 1e-9):
                found.append(f"{pair} overlap by {shared:.6g} mm2")
            elif spacing.gap > 0.0 and shapely.distance(a, b) < spacing.gap - tolerance:
                found.append(f"{pair} are {shapely.distance(a, b):.4f} mm apart")
    return found
