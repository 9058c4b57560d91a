"""A plan carried over to the same build at another size: each part where it lay, as large as it is now.

Going down, the whole layout shrinks, a little less than the parts, so that the gaps stay, or the parts
shrink where they lie: mostly little else is to do. Going up, they grow and overlap a little, which the
overlap engine separates sooner than it finds a whole layout anew. Either way the layout is judged on the
true outlines like any other.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from nestkit.geometry import Placement
from nestkit.geometry.affine import apply
from nestkit.nesting.attempt import Attempt
from nestkit.nesting.model import PlannedSheet
from nestkit.nesting.problem import Item, Layout, Seat, Spacing
from nestkit.nesting.request import Batch
from nestkit.nesting.stops import Stop
from nestkit.nesting.supply import Supply
from nestkit.nesting.verify import faults

#: Going down, these shares of what the parts shrink by are left between them: a little makes up for gaps
#: that would shrink too, where the middles of two parts are some 12 gaps apart; all leaves parts in place.
LOOSE = (0.08, 1.0)

#: A sheet, by its name and number; a blank, by its corner on it.
_Which = tuple[str, int]
_Spot = tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class LaidPart:
    """Where one copy lies: ``x``, ``y`` is the middle of its box (mm, sheet), ``turn`` in radians.

    ``side`` is the longer side of its drawn box, mm.
    """

    part: str
    copy: int
    x: float
    y: float
    turn: float
    mirrored: bool
    side: float


@dataclass(frozen=True, slots=True)
class LaidSheet:
    """One planned sheet or blank without its geometry: which it is, and what lies where on it."""

    material: str
    thickness: float
    stock: str
    stock_number: int
    blank: tuple[float, float] | None
    parts: tuple[LaidPart, ...]


def laid(sheets: Iterable[PlannedSheet]) -> tuple[LaidSheet, ...]:
    """What is to be kept of a plan for another size to begin with."""
    found = []
    for sheet in sheets:
        parts = []
        for placed in sheet.placed:
            at = placed.placement
            size = placed.part.shape.outline.size
            x, y = _middle(size, at)
            parts.append(LaidPart(placed.part.name, placed.copy, x, y, at.turn, at.mirrored, max(size)))
        found.append(
            LaidSheet(
                sheet.material,
                sheet.thickness,
                sheet.stock,
                sheet.stock_number,
                sheet.blank_origin,
                tuple(parts),
            )
        )
    return tuple(found)


def carried(batch: Batch, row: Supply, start: Sequence[LaidSheet], spacing: Spacing) -> Layout | None:
    """The batch's copies where ``start`` has them; None when most are lacking, or a sheet is no longer there.

    The layout may be unsound. Copies that ``start`` has not are left out, and those that the batch has not
    are left away: a stack may have fewer layers now, and an edge strip be made of other lengths.
    """
    sides = {part.name: max(part.shape.outline.size) for part, _ in batch.copies}
    # Most parts: some are as large as their hardware is, whatever the size.
    ratios = [sides[part.part] / part.side for sheet in start for part in sheet.parts if part.part in sides]
    factor = min(statistics.median(ratios), 1.0) if ratios else 1.0
    spreads = dict.fromkeys(factor + loose * (1.0 - factor) for loose in LOOSE)
    found = [layout for spread in spreads if (layout := _spread(batch, row, start, spread)) is not None]
    return min(found, key=lambda layout: len(faults(batch.items, row.bins, layout, spacing)), default=None)


def _spread(batch: Batch, row: Supply, start: Sequence[LaidSheet], factor: float) -> Layout | None:
    """The copies at their places, which are drawn to the middle of each sheet by a factor."""
    bins = _bins(row, start)
    where = {(part.part, part.copy): (sheet, part) for sheet in start for part in sheet.parts}
    seats = []
    left_out = []
    for number, (part, copy) in enumerate(batch.copies):
        if (part.name, copy) not in where:
            left_out.append(number)
            continue
        sheet, at = where[part.name, copy]
        bin = bins.get((sheet.stock, sheet.stock_number), {}).get(_spot(sheet.blank))
        if bin is None or at.mirrored != batch.items[number].mirrored:
            return None
        turned = Placement(0.0, 0.0, at.turn, at.mirrored)
        x, y = _middle(part.shape.outline.size, turned)
        x0, y0, x1, y1 = row.bins[bin].outline.bounds
        across, along = (x0 + x1) / 2.0, (y0 + y1) / 2.0
        spot = across + factor * (at.x - across), along + factor * (at.y - along)
        seats.append(Seat(number, bin, replace(turned, x=spot[0] - x, y=spot[1] - y)))
    return Layout(tuple(seats), tuple(left_out)) if len(seats) > len(left_out) else None


def _bins(row: Supply, start: Sequence[LaidSheet]) -> dict[_Which, dict[_Spot, int]]:
    """For each sheet of ``start`` the bins of one like it, by their corners on it.

    In the row it may have another number: there sheets are numbered on from one way of cutting them up to
    the next.
    """
    there: dict[_Which, dict[_Spot, int]] = {}
    for n, meaning in enumerate(row.meaning):
        spot = None if meaning.is_whole else _spot((meaning.blank.x, meaning.blank.y))
        there.setdefault(meaning.which, {})[spot] = n
    wanted: dict[_Which, set[_Spot]] = {}
    for sheet in start:
        wanted.setdefault((sheet.stock, sheet.stock_number), set()).add(_spot(sheet.blank))
    bought = {meaning.which for meaning in row.meaning if meaning.bought}
    free = [which for which in there if which in bought and which not in wanted]
    found = {}
    for which, spots in wanted.items():
        fit = (one for one in (which, *free) if one[0] == which[0] and spots <= there.get(one, {}).keys())
        like = next(fit, None)
        if like is not None:
            found[which] = there[like]
            free = [one for one in free if one != like]
    return found


def _middle(size: tuple[float, float], at: Placement) -> tuple[float, float]:
    """Where the middle of a part's box comes to lie; the box begins at the part's origin."""
    x, y = apply(at.matrix, np.array([[size[0] / 2.0, size[1] / 2.0]]))[0]
    return float(x), float(y)


def _spot(corner: tuple[float, float] | None) -> _Spot:
    return None if corner is None else (round(corner[0], 6), round(corner[1], 6))


def sound_layout(
    items: Sequence[Item],
    row: Supply,
    layout: Layout,
    spacing: Spacing,
    *,
    seed: int,
    stop: Stop | None,
    asked_to_stop: Callable[[], bool],
) -> Layout | None:
    """The layout if it is sound, or a whole one on the same sheets that the overlap engine makes of it.

    Parameters
    ----------
    items : sequence of Item
    row : Supply
        What the layout's bins are.
    layout : Layout
        Places are looked for on its sheets for what it leaves out.
    spacing : Spacing
    seed : int
        As for `nesting.search.search`.
    stop : Stop, optional
        Without it nothing is separated.
    asked_to_stop : callable
        As for `nesting.search.search`.
    """
    if not layout.left_out and not faults(items, row.bins, layout, spacing):
        return layout
    if stop is None or asked_to_stop() or stop(0):
        return None
    # Imported when it is needed: its kernels are compiled, or loaded, then.
    from nestkit.nesting import overlap

    bins = sorted({seat.bin for seat in layout.seats})
    begin = replace(layout, seats=tuple(replace(seat, bin=bins.index(seat.bin)) for seat in layout.seats))
    attempt = Attempt(stop, 0)
    found = overlap.search(
        items,
        [row.bins[bin] for bin in bins],
        spacing,
        seed=seed,
        start=begin,
        stop=attempt.is_over,
        asked_to_stop=asked_to_stop,
        progress=attempt.note,
    ).layout
    if found.left_out:
        return None
    return Layout(tuple(replace(seat, bin=bins[seat.bin]) for seat in found.seats))
