"""The constructive engine: one item after another, each as far to the left and down as it goes.

It starts the search and is the baseline of the benchmarks. Items may lie in other items' holes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import shapely

from nestkit.geometry import Placement
from nestkit.nesting.forms import Form, Forms
from nestkit.nesting.nofit import UNITS, Contour, Pieces, Ring, box_ring, free_places, pieces_in_units
from nestkit.nesting.problem import Bin, Item, Layout, Seat, Spacing

#: A piece that is too long for its room by no more than this (whole-number units) still counts as fitting.
HAIR = 20
#: Places tried where parts touch exactly, before a hair is left between them.
EXACT_TRIES = 6
#: Exact contact is sought on this lattice (whole-number units, 1 micrometre): drawn sizes lie on it.
LATTICE = 10


class Rule(IntEnum):
    """What makes one place better than another."""

    LEFT = 0
    DOWN = 1
    CORNER = 2


@dataclass
class _Room:
    """A bin with what lies in it so far."""

    bin: Bin
    room: tuple[int, int, int, int]
    edge: Pieces
    free_area: float
    seated: list[tuple[Form, int, int]] = field(default_factory=list)
    refused: set[tuple[int, bool]] = field(default_factory=set)
    #: Places that were left for a form, by its key, and how many parts were seated then.
    left: dict[int, tuple[int, list[Ring]]] = field(default_factory=dict)


def construct(
    items: Sequence[Item],
    bins: Sequence[Bin],
    spacing: Spacing,
    order: Sequence[int],
    rule: Rule = Rule.LEFT,
    forms: Forms | None = None,
    asked_to_stop: Callable[[], bool] = lambda: False,
) -> Layout:
    """Places the items one by one, in the first bin that has a place.

    Parameters
    ----------
    items, bins, spacing
        See `nesting.problem`.
    order : sequence of int
        The items' numbers, in the order in which they are placed.
    rule : Rule
        Which free place is taken.
    forms : Forms, optional
        Kept from an earlier call with the same items and spacing, it saves most of the time.
    asked_to_stop : callable
        Asked before each item; when it says so, the remaining items are left out.

    Returns
    -------
    Layout
        Nothing overlaps; what found no place is left out.
    """
    forms = forms or Forms(items, spacing)
    # Opened when first asked for: there may be hundreds that are never needed.
    rooms: list[_Room | None] = [None] * len(bins)
    seats: list[Seat] = []
    left_out: list[int] = []
    for number in order:
        item = items[number]
        seat = None
        if not asked_to_stop():
            seat = _seat(number, item, bins, rooms, forms, spacing, rule)
        if seat is None:
            left_out.append(number)
        else:
            seats.append(seat)
    return Layout(tuple(seats), tuple(left_out))


def _open(bin: Bin, spacing: Spacing) -> _Room:
    x0, y0, x1, y1 = bin.outline.bounds
    margin = spacing.margin
    room = (
        round((x0 + margin) * UNITS),
        round((y0 + margin) * UNITS),
        round((x1 - margin) * UNITS),
        round((y1 - margin) * UNITS),
    )
    # What of the bounding box is not sheet, and the sheet's holes, are obstacles with the margin round them.
    frame = shapely.box(x0 - 1, y0 - 1, x1 + 1, y1 + 1)
    sheet = bin.outline.polygon(0.01)
    missing = shapely.difference(shapely.box(x0, y0, x1, y1), sheet)
    edge = Pieces.of([])
    if missing.area > 1e-6:
        outside = shapely.buffer(shapely.difference(frame, sheet), margin, join_style="mitre")
        edge = pieces_in_units(*shapely.get_parts(outside))
    return _Room(bin, room, edge, bin.outline.area)


def _seat(
    number: int,
    item: Item,
    bins: Sequence[Bin],
    rooms: list[_Room | None],
    forms: Forms,
    spacing: Spacing,
    rule: Rule,
) -> Seat | None:
    kind = (item.kind, item.mirrored)
    empty_tried: set[int] = set()
    for index, bin in enumerate(bins):
        room = rooms[index]
        if room is None:
            if bin.kind in empty_tried:
                continue
            room = rooms[index] = _open(bin, spacing)
        if not room.seated:
            empty_tried.add(bin.kind)
        # A bin only ever gets fuller: what it refused once it will refuse again.
        if kind in room.refused or room.free_area < item.outline.area:
            continue
        best: tuple[tuple[int, int], Form, int, int] | None = None
        for form in forms.of(item):
            place = _best_place(room, form, forms, spacing, rule)
            if place is not None and (best is None or place[0] < best[0]):
                best = (place[0], form, place[1], place[2])
        if best is None:
            room.refused.add(kind)
            continue
        _, form, x, y = best
        room.seated.append((form, x, y))
        room.free_area -= item.outline.area
        return Seat(number, index, Placement(x / UNITS, y / UNITS, form.turn, item.mirrored))
    return None


def _best_place(
    room: _Room, form: Form, forms: Forms, spacing: Spacing, rule: Rule
) -> tuple[tuple[int, int], int, int] | None:
    """Score and origin of the best free place for a form, or None."""
    x0, y0 = room.room[0] - form.core[0], room.room[1] - form.core[1]
    x1, y1 = room.room[2] - form.core[2], room.room[3] - form.core[3]
    if x1 < x0 - HAIR or y1 < y0 - HAIR:
        return None
    limits = (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
    exact = spacing.gap == 0.0
    for careful in (False, True) if exact else (False,):
        ranked = _ranked(_free(room, form, forms, limits, exact, careful), form, rule)
        if not exact or careful:
            if len(ranked):
                x, y = _clamped(ranked[0], limits)
                return _score(x, y, form, rule), x, y
            continue
        for spot in ranked[:EXACT_TRIES]:
            x, y = _clamped(_snapped(spot, room, form), limits)
            if _touches_only(room, form, x, y):
                return _score(x, y, form, rule), x, y
    return None


def _free(
    room: _Room, form: Form, forms: Forms, limits: tuple[int, int, int, int], exact: bool, careful: bool
) -> list[Contour]:
    # A room without breadth would be nothing to the clipper: it gets two units more on each side.
    wide = (limits[0] - 2, limits[1] - 2, limits[2] + 2, limits[3] + 2)
    anew: tuple[int, list[Ring]] = (0, [box_ring(wide)])
    # Rounding must not add up where slots of two units' breadth count.
    known, free = anew if exact else room.left.get(form.key, anew)
    blocked = [
        ring + np.array([x, y])
        for fixed, x, y in room.seated[known:]
        for ring in forms.no_fit(fixed, form, careful)
    ]
    if room.edge.count and not known:
        blocked += forms.edge_no_fit(room.edge, form)
    free = free_places(free, blocked)
    if not exact:
        room.left[form.key] = len(room.seated), free
    return [np.array(ring, dtype=np.int64) for ring in free]


def _ranked(places: list[Contour], form: Form, rule: Rule) -> Contour:
    """Corners of the free places, best first, (n, 2)."""
    if not places:
        return np.empty((0, 2), dtype=np.int64)
    corners = np.concatenate(places)
    right, top = corners[:, 0] + form.core[2], corners[:, 1] + form.core[3]
    if rule is Rule.LEFT:
        keys = (top, right)
    elif rule is Rule.DOWN:
        keys = (right, top)
    else:
        keys = (right, right + top)
    return corners[np.lexsort(keys)]


def _score(x: int, y: int, form: Form, rule: Rule) -> tuple[int, int]:
    right, top = x + form.core[2], y + form.core[3]
    if rule is Rule.LEFT:
        return right, top
    if rule is Rule.DOWN:
        return top, right
    return right + top, right


def _clamped(spot: Contour, limits: tuple[int, int, int, int]) -> tuple[int, int]:
    return (
        int(min(max(spot[0], limits[0]), limits[2])),
        int(min(max(spot[1], limits[1]), limits[3])),
    )


def _snapped(spot: Contour, room: _Room, form: Form) -> Contour:
    """The spot moved by a few units so that bounding boxes touch exactly, or else onto the lattice."""
    snapped = np.rint(spot / LATTICE).astype(np.int64) * LATTICE
    for axis in (0, 1):
        low, high = form.core[axis], form.core[axis + 2]
        contacts = [at[axis] + fixed.core[axis + 2] - low for fixed, *at in room.seated]
        contacts += [at[axis] + fixed.core[axis] - high for fixed, *at in room.seated]
        nearest = min(contacts, key=lambda c: abs(c - spot[axis]), default=None)
        if nearest is not None and abs(nearest - spot[axis]) <= 4:
            snapped[axis] = nearest
    return snapped


def _touches_only(room: _Room, form: Form, x: int, y: int) -> bool:
    """Whether the true outline at (x, y) shares no area with its neighbours and the sheet's rim.

    A place where rounding keeps that from being reckoned is not taken.
    """
    try:
        return _shares_nothing(room, form, x, y)
    except shapely.errors.GEOSException:
        return False


def _shares_nothing(room: _Room, form: Form, x: int, y: int) -> bool:
    moved = _at(form, x, y)
    for fixed, fx, fy in room.seated:
        other = _at(fixed, fx, fy)
        if shapely.intersection(moved, other).area > 1e-9 * min(moved.area, other.area):
            return False
    if not room.edge.count:
        return True
    return bool(shapely.difference(moved, room.bin.outline.polygon(0.01)).area <= 1e-9 * moved.area)


def _at(form: Form, x: int, y: int) -> shapely.Polygon:
    shift = np.array([x / UNITS, y / UNITS])
    return shapely.transform(form.outline, lambda xy: xy + shift)
