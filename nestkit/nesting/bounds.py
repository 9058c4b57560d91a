"""Lower bounds: how few sheets, and how little money, no plan can go below.

What is proven here is that no arrangement exists, whatever a search finds.

References
----------
Martello and Vigo 1998, "Exact solution of the two-dimensional finite bin packing problem", Management
Science 44: the area bound (their L0), here for outlines with a gap. The gap's part is the Steiner
formula: parts that keep a gap g do not overlap when each is grown by g / 2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from nestkit.geometry import Outline
from nestkit.nesting.problem import Item, Spacing

#: Money or area below this is rounding, not meaning.
EPSILON = 1e-6


@dataclass(frozen=True, slots=True)
class Offer:
    """So many sheets of one kind at one price.

    Parameters
    ----------
    size : (float, float), mm
    price : float
    count : int or None
        None when any number can be had.
    pieces : tuple of (float, float), mm
        Sizes of the blanks that one is cut into; empty when it stays whole.
    """

    size: tuple[float, float]
    price: float
    count: int | None
    pieces: tuple[tuple[float, float], ...] = ()

    def room(self, spacing: Spacing) -> float:
        """Room of one sheet for grown items, mm^2: whole or in its pieces, whichever is more.

        Each piece has a rim of its own for half the gap, so that the pieces may hold more than the whole.
        """
        return max(usable_area(self.size, spacing), sum(usable_area(piece, spacing) for piece in self.pieces))


def needed_area(item: Item, gap: float) -> float:
    """The foam that one item takes up at least, with its share of the gap, mm^2."""
    return grown_area(item.outline, gap / 2.0)


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


def fewest_sheets(items: Sequence[Item], offers: Sequence[Offer], spacing: Spacing) -> int:
    """No plan of all items can use fewer sheets: their area, in the largest sheets there are.

    When the offers can't hold the area at all, the number of sheets on offer is returned.
    """
    need = sum(needed_area(item, spacing.gap) for item in items)
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
    need = sum(needed_area(item, spacing.gap) for item in items)
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
            priced.append((area, offer.price))
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
