"""Lower bounds by area: how few sheets, and how little money, no plan can go below.

What is proven here is that no arrangement exists, whatever a search finds. `proofs` puts these and the
sharper bounds together.

References
----------
Martello and Vigo 1998, "Exact solution of the two-dimensional finite bin packing problem", Management
Science 44: the area bound (their L0), here for outlines with a gap. The gap's part is the Steiner
formula: parts that keep a gap g do not overlap when each is grown by g / 2. Holes that nothing else can
lie in are foam that is lost, whoever loses it: they count as part of their outline.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.geometry import Outline, Path
from nestkit.nesting.alike import Alike, alike
from nestkit.nesting.problem import Item, Spacing
from nestkit.stock.blanks import HAIR

#: Money or area below this is rounding, not meaning.
EPSILON = 1e-6


@dataclass(frozen=True, slots=True)
class Offer:
    """So many sheets of one kind at one price.

    Parameters
    ----------
    size : (float, float), mm
        As it is laid.
    price : float
    count : int or None
        None when any number can be had.
    ways : tuple of tuple of (float, float), mm
        Sizes of the blanks that one is cut into, in each way that there is; empty when it stays whole.
    name : str
        Of the kind of sheet.
    pack : int
        So many are sold together, at the price.
    largest : (float, float) or None, mm
        No piece that is cut from one and lies on the cutter is wider or higher; None when it stays whole,
        or may.
    outline : Outline or None
        Of a sheet that is no rectangle.
    """

    size: tuple[float, float]
    price: float
    count: int | None
    ways: tuple[tuple[tuple[float, float], ...], ...] = ()
    name: str = ""
    pack: int = 1
    largest: tuple[float, float] | None = None
    outline: Outline | None = None

    def room(self, spacing: Spacing) -> float:
        """Room of one sheet for grown items, mm^2: whole or in its pieces, whichever is more.

        Each piece has a rim of its own for half the gap, so that the pieces may hold more than the whole;
        but where a margin is kept that is at least as wide, every cut takes some room away.
        """
        whole = usable_area(self.size, spacing)
        if 2.0 * spacing.margin < spacing.gap:
            return max(whole, *(sum(usable_area(piece, spacing) for piece in way) for way in self.ways), 0.0)
        if self.outline is not None:
            whole = min(whole, usable_area_within(self.outline, spacing))
        return whole if self.largest is None else min(whole, cut_up_area(self.size, self.largest, spacing))

    def across(self, spacing: Spacing) -> Spacing:
        """What is kept between two items anywhere on one sheet, even if a cut between blanks parts them."""
        if all(len(way) < 2 for way in self.ways):
            return spacing
        return Spacing(min(spacing.gap, 2.0 * spacing.margin), spacing.margin)


def needed_areas(groups: Sequence[Alike], gap: float) -> list[float]:
    """The foam that an item of each group takes up at least, with its share of the gap, mm^2.

    A hole counts as foam when none of the items can lie in it.
    """
    has_holes = any(group.item.outline.holes for group in groups)
    sizes = [_Girth.of(group.item.outline.exterior) for group in groups] if has_holes else []
    found = []
    for group in groups:
        outline = group.item.outline
        open_holes = [hole for hole in outline.holes if _can_be_used(hole, sizes, gap)]
        found.append(grown_area(Outline(outline.exterior, tuple(open_holes)), gap / 2.0))
    return found


def needed_area(items: Sequence[Item], gap: float) -> float:
    """The foam that all items together take up at least, mm^2."""
    groups = alike(items)
    areas = needed_areas(groups, gap)
    return math.fsum(group.count * area for group, area in zip(groups, areas, strict=True))


@dataclass(frozen=True, slots=True)
class _Girth:
    """Measures that what lies inside something can't exceed, mm."""

    across: float
    width: float
    disc: float

    @classmethod
    @lru_cache(maxsize=1024)
    def of(cls, ring: Path) -> _Girth:
        return cls.of_polygon(shapely.Polygon(ring.flatten(0.01)))

    @classmethod
    def of_polygon(cls, polygon: shapely.Geometry) -> _Girth:
        hull = shapely.convex_hull(polygon)
        points = shapely.get_coordinates(hull)
        across = float(shapely.distance(shapely.points(points)[:, None], shapely.points(points)).max())
        disc = float(shapely.length(shapely.maximum_inscribed_circle(polygon, tolerance=0.05)))
        return cls(across, _width(points), disc)


def _width(hull: NDArray[np.float64]) -> float:
    """Least distance between two parallel lines that hold a convex ring between them."""
    edges = np.diff(hull, axis=0)
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    kept = lengths > 1e-9
    normals = np.column_stack((-edges[kept, 1], edges[kept, 0])) / lengths[kept, None]
    reach = normals @ hull.T
    return float(np.ptp(reach, axis=1).min())


def _can_be_used(hole: Path, sizes: Sequence[_Girth], gap: float) -> bool:
    """False only when it is certain that no item lies in the hole, with its gap."""
    flat = shapely.Polygon(hole.flatten(0.01))
    left = shapely.buffer(flat, 0.05 - gap, join_style="mitre")
    parts = [part for part in shapely.get_parts(left) if part.area > 0.0]
    rooms = [_Girth.of_polygon(part) for part in parts]
    return any(
        size.across <= room.across and size.width <= room.width and size.disc <= room.disc + 0.05
        for size in sizes
        for room in rooms
    )


@lru_cache(maxsize=1024)
def grown_area(outline: Outline, distance: float) -> float:
    """Area of an outline grown by ``distance`` with round corners, never more than the true one, mm^2."""
    if distance <= 0.0:
        return outline.area
    # Chords of grown corners and of flattened arcs only make this smaller, except in holes: there the
    # flattened arc is larger foam, so its allowance is taken off again.
    fine = 0.002
    polygon = outline.polygon(fine)
    allowance = fine * sum(hole.length for hole in outline.holes if hole.has_arcs)
    return float(shapely.buffer(polygon, distance, quad_segs=16).area) - allowance


def usable_area(size: tuple[float, float], spacing: Spacing) -> float:
    """Room on a sheet for grown items, mm^2: the sheet less its margin, grown by half the gap."""
    width, height = size[0] - 2.0 * spacing.margin, size[1] - 2.0 * spacing.margin
    if min(width, height) <= 0.0:
        return 0.0
    half = spacing.gap / 2.0
    return width * height + 2.0 * (width + height) * half + math.pi * half * half


def usable_area_within(outline: Outline, spacing: Spacing) -> float:
    """Room on a sheet of any outline for grown items, never less than the true one, mm^2.

    What stays when the margin is taken off all round, grown by half the gap.
    """
    fine = 0.002
    polygon = outline.polygon(fine)
    # Chords of the edge's arcs, and of those that the margin makes, err by no more than this.
    roomy = shapely.buffer(polygon, 2.0 * fine, join_style="mitre")
    left = shapely.buffer(roomy, -spacing.margin, quad_segs=16)
    grown = shapely.buffer(left, spacing.gap / 2.0 * (1.0 + 2e-3) + 2.0 * fine, quad_segs=16)
    return float(grown.area)


def cut_up_area(size: tuple[float, float], largest: tuple[float, float], spacing: Spacing) -> float:
    """Room for grown items on a sheet that is cut up, however that is done by straight cuts, mm^2.

    A level line crosses pieces no wider than ``largest`` allows; each loses its margins, and gets half a
    gap on either side. So the line crosses so much room at most, and the sheet has so many lines; the same
    holds for upright ones. For margins of at least half the gap.

    Parameters
    ----------
    size, largest : (float, float), mm
        Of the sheet as it is laid, and of what lies on the cutter.
    spacing : Spacing
    """
    lost = 2.0 * spacing.margin - spacing.gap
    across = [_most_across(length, most, lost) for length, most in zip(size, largest, strict=True)]
    full = [max(length - lost, 0.0) for length in size]
    return min(across[0] * full[1], full[0] * across[1])


def _most_across(length: float, most: float, lost: float) -> float:
    """The longest that pieces no longer than ``most`` can be together, when each loses something."""
    roomy = most + HAIR
    return max(max(min(length, n * roomy) - n * lost, 0.0) for n in range(1, math.ceil(length / roomy) + 1))


def fewest_sheets(items: Sequence[Item], offers: Sequence[Offer], spacing: Spacing) -> int:
    """No plan of all items can use fewer sheets: their area, in the largest sheets there are.

    When the offers can't hold the area at all, the number of sheets on offer is returned.
    """
    need = needed_area(items, spacing.gap)
    sheets = 0
    for offer in sorted(offers, key=lambda o: -o.room(spacing)):
        area = offer.room(spacing)
        if need <= EPSILON or area <= 0.0:
            break
        wanted = math.ceil(need / area - 1e-9)
        taken = wanted if offer.count is None else min(wanted, offer.count)
        sheets += taken
        need -= taken * area
    return sheets


def least_money(items: Sequence[Item], offers: Sequence[Offer], spacing: Spacing) -> float:
    """No plan of all items can cost less: the cheapest set of sheets with enough area.

    Any number of a priced sheet is allowed here, which can only lower the bound.
    """
    need = needed_area(items, spacing.gap)
    priced: list[tuple[float, float]] = []
    for offer in offers:
        area = offer.room(spacing)
        if area <= 0.0:
            continue
        if offer.price <= 0.0:
            if offer.count is None:
                return 0.0
            need -= area * offer.count
        else:
            priced.append((area * offer.pack, offer.price))
    if need <= EPSILON or not priced:
        return 0.0
    # Best value first; what an integer number of it leaves over is tried with the others.
    priced.sort(key=lambda pair: pair[1] / pair[0])
    return _cheapest(need, priced, math.inf)


def _cheapest(need: float, priced: Sequence[tuple[float, float]], best: float) -> float:
    area, price = priced[0]
    most = math.ceil(need / area - 1e-9)
    if len(priced) == 1:
        return most * price
    for count in range(most, -1, -1):
        rest = need - count * area
        # The others are worse value: even bought by the square millimetre they can't beat `best`.
        least = count * price + max(rest, 0.0) * priced[1][1] / priced[1][0]
        if least >= best - EPSILON:
            if rest > 0.0:
                break
            continue
        found = count * price + (_cheapest(rest, priced[1:], best - count * price) if rest > EPSILON else 0.0)
        best = min(best, found)
    return best
