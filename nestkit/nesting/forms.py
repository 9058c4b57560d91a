"""Items prepared for the bottom-left engine: turned, grown by half the gap, cut into convex pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import Polygon

from nestkit.geometry import Placement
from nestkit.geometry.near import run_together
from nestkit.nesting.nofit import UNITS, Contour, Pieces, no_fit, pieces_in_units
from nestkit.nesting.problem import Item, Spacing

#: Arcs are flattened this finely before they are grown, mm: with the slack, within the verifier's tolerance.
FINE = 0.001
#: Without a gap, what has arcs is grown by this, mm: chords of two arcs that touch would overlap.
ARC_GAP = 0.003
#: Outlines with more points than this are simplified, outward only.
MANY_POINTS = 28
#: How far a simplified outline may stand off: at least and at most this many mm, and a share of its size.
STAND_OFF = (0.3, 0.8, 0.002)
#: Gaps come out smaller by at most twice this, mm, so that sheets that fit exactly are filled exactly.
SLACK = 0.002
#: A right angle keeps its mitre when it is grown; sharper corners are cut off, never below the true distance.
MITRE_LIMIT = 1.5
#: Outlines that nowhere differ by more than this are the same, mm.
ALIKE = 0.02


@dataclass(frozen=True, eq=False)
class Form:
    """One item at one turn.

    Parameters
    ----------
    key : int
        The same for interchangeable items at the same turn.
    turn : float, radians
    pieces : Pieces
        Convex pieces of the grown outline, holes kept where a part could lie in them.
    moving : Pieces
        The same without holes, as `nofit.Pieces.turned_about` gives them.
    filled : shapely.Polygon
        The grown outline without holes, mm.
    core : (int, int, int, int)
        Bounding box of the true outline: x0, y0, x1, y1.
    outline : shapely.Polygon
        True outline, mirrored and turned, mm.
    """

    key: int
    turn: float
    pieces: Pieces
    moving: Pieces
    filled: Polygon
    core: tuple[int, int, int, int]
    outline: Polygon

    @cached_property
    def careful(self) -> Pieces:
        """`moving` grown by a hair, for when exact contact would overlap."""
        return pieces_in_units(shapely.buffer(self.filled, 0.003, join_style="mitre")).turned_about()


def turn_choices(item: Item) -> tuple[float, ...]:
    """The turns tried for an item; one of any turn is tried square to its smallest enclosing rectangle."""
    if item.turns.angles is not None:
        return item.turns.angles
    outline = item.outline.transformed(Placement(mirrored=item.mirrored).matrix)
    hull = shapely.minimum_rotated_rectangle(outline.polygon())
    (x0, y0), (x1, y1) = shapely.get_coordinates(hull)[:2]
    lean = math.atan2(y1 - y0, x1 - x0) % (math.pi / 2.0)
    if min(lean, math.pi / 2.0 - lean) < 1e-6:
        lean = 0.0
    return tuple((quarter * math.pi / 2.0 - lean) % math.tau for quarter in range(4))


class Forms:
    """Makes forms and no-fit polygons once, and keeps them.

    Parameters
    ----------
    items : sequence of Item
    spacing : Spacing
    extra : float, mm
        Grown by this much more, where layouts came out too tight for the verifier.
    """

    def __init__(self, items: Sequence[Item], spacing: Spacing, extra: float = 0.0) -> None:
        self.extra = extra
        self._grow = max(spacing.gap / 2.0 - SLACK, 0.0) + extra
        self._smallest = min((item.outline.area for item in items), default=0.0)
        self._by_item: dict[tuple[int, bool], tuple[Form, ...]] = {}
        self._no_fit: dict[tuple[int, int, bool], list[Contour]] = {}
        self._edges: dict[tuple[int, int], tuple[Pieces, list[Contour]]] = {}
        self._count = 0

    def of(self, item: Item) -> tuple[Form, ...]:
        """The item's forms, one for each turn that makes a difference."""
        kind = (item.kind, item.mirrored)
        if kind not in self._by_item:
            forms: list[Form] = []
            for turn in turn_choices(item):
                form = self._form(item, turn)
                if not any(_same(form.outline, other.outline) for other in forms):
                    forms.append(form)
            self._by_item[kind] = tuple(forms)
        return self._by_item[kind]

    def no_fit(self, fixed: Form, moving: Form, careful: bool = False) -> list[Contour]:
        """Where `moving`'s origin may not lie when `fixed` lies at (0, 0)."""
        key = (fixed.key, moving.key, careful)
        if key not in self._no_fit:
            self._no_fit[key] = no_fit(fixed.pieces, moving.careful if careful else moving.moving)
        return self._no_fit[key]

    def edge_no_fit(self, edge: Pieces, moving: Form) -> list[Contour]:
        """Where `moving`'s origin may not lie because of a sheet's rim, given as convex pieces.

        The moving form is grown by half the gap already, which the rim does not ask for: its true
        outline counts here.
        """
        key = (id(edge), moving.key)
        if key not in self._edges:
            bare = pieces_in_units(shapely.simplify(Polygon(moving.outline.exterior), 0.0))
            # Kept with its edge, so that the id can't be given to another list.
            self._edges[key] = (edge, no_fit(edge, bare.turned_about()))
        return self._edges[key][1]

    def _form(self, item: Item, turn: float) -> Form:
        placed = item.outline.transformed(Placement(turn=turn, mirrored=item.mirrored).matrix)
        outline = placed.polygon(FINE)
        has_arcs = any(ring.has_arcs for ring in item.outline.rings())
        shape = grown(outline, max(self._grow, ARC_GAP if has_arcs else 0.0))
        kept = [hole for hole in shape.interiors if Polygon(hole).area >= self._smallest]
        filled = Polygon(shape.exterior)
        x0, y0, x1, y1 = placed.bounds
        self._count += 1
        pieces = pieces_in_units(Polygon(shape.exterior, kept))
        bare = pieces_in_units(filled) if kept else pieces
        return Form(
            key=self._count,
            turn=turn,
            pieces=pieces,
            moving=bare.turned_about(),
            filled=filled,
            core=(round(x0 * UNITS), round(y0 * UNITS), round(x1 * UNITS), round(y1 * UNITS)),
            outline=outline,
        )


def grown(outline: Polygon, distance: float) -> Polygon:
    """The outline grown by ``distance`` mm, with few points, never smaller than the true growth."""
    exact = _buffer(outline, distance)
    if len(shapely.get_coordinates(exact)) <= MANY_POINTS:
        return exact
    least, most, share = STAND_OFF
    x0, y0, x1, y1 = outline.bounds
    tolerance = min(max(least, share * max(x1 - x0, y1 - y0)), most)
    while tolerance > 0.02:
        loose = shapely.simplify(_buffer(outline, distance + tolerance), tolerance)
        if loose.geom_type == "Polygon" and loose.is_valid and shapely.covers(loose, exact):
            return loose
        tolerance /= 2.0
    return exact


def _buffer(outline: Polygon, distance: float) -> Polygon:
    if distance <= 0.0:
        return outline
    return shapely.buffer(outline, distance, join_style="mitre", mitre_limit=MITRE_LIMIT)


def _same(one: Polygon, other: Polygon) -> bool:
    """Whether two outlines are the same up to a move."""
    (ax, ay, _, _), (bx, by, _, _) = one.bounds, other.bounds
    moved = shapely.transform(other, lambda xy: xy + np.array([ax - bx, ay - by]))
    return run_together(one.boundary, moved.boundary, ALIKE)
