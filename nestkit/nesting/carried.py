"""A plan carried over to the same build at another size: each part where it lay, as large as it is now.

Going down, the parts shrink where they lie and mostly nothing else is to do. Going up, they overlap a
little, which the overlap engine separates sooner than it finds a whole layout anew. Either way the layout
is judged on the true outlines like any other.
"""

from __future__ import annotations

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


@dataclass(frozen=True, slots=True)
class LaidPart:
    """Where one copy lies: ``x``, ``y`` is the middle of its box (mm, sheet), ``turn`` in radians."""

    part: str
    copy: int
    x: float
    y: float
    turn: float
    mirrored: bool


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
            x, y = _middle(placed.part.shape.outline.size, at)
            parts.append(LaidPart(placed.part.name, placed.copy, x, y, at.turn, at.mirrored))
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


def carried(batch: Batch, row: Supply, start: Sequence[LaidSheet]) -> Layout | None:
    """The batch's copies where ``start`` has them; None when most are lacking, or a sheet is no longer there.

    The layout may be unsound. Copies that ``start`` has not are left out, and those that the batch has not
    are left away: a stack may have fewer layers now, and an edge strip be made of other lengths.
    """
    bins = {
        (*meaning.which, None if meaning.is_whole else _spot((meaning.blank.x, meaning.blank.y))): n
        for n, meaning in enumerate(row.meaning)
    }
    where = {(part.part, part.copy): (sheet, part) for sheet in start for part in sheet.parts}
    seats = []
    left_out = []
    for number, (part, copy) in enumerate(batch.copies):
        if (part.name, copy) not in where:
            left_out.append(number)
            continue
        sheet, at = where[part.name, copy]
        bin = bins.get((sheet.stock, sheet.stock_number, _spot(sheet.blank)))
        if bin is None or at.mirrored != batch.items[number].mirrored:
            return None
        turned = Placement(0.0, 0.0, at.turn, at.mirrored)
        x, y = _middle(part.shape.outline.size, turned)
        seats.append(Seat(number, bin, replace(turned, x=at.x - x, y=at.y - y)))
    return Layout(tuple(seats), tuple(left_out)) if len(seats) > len(left_out) else None


def _middle(size: tuple[float, float], at: Placement) -> tuple[float, float]:
    """Where the middle of a part's box comes to lie; the box begins at the part's origin."""
    x, y = apply(at.matrix, np.array([[size[0] / 2.0, size[1] / 2.0]]))[0]
    return float(x), float(y)


def _spot(corner: tuple[float, float] | None) -> tuple[float, float] | None:
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
    items, spacing
        See `nesting.problem`.
    row : Supply
        What the layout's bins are.
    layout : Layout
        Places are looked for on its sheets for what it leaves out.
    seed, asked_to_stop
        As for `nesting.search.search`.
    stop : Stop, optional
        Without it nothing is separated.
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
