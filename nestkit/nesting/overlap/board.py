"""A packing problem in the engine's arrays: shapes, bins side by side, what is fixed; layouts in and out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nestkit.geometry import Placement
from nestkit.geometry.affine import apply, rotation
from nestkit.nesting.overlap.cover import convex_cover
from nestkit.nesting.overlap.dice import Dice
from nestkit.nesting.overlap.frame import Stencil, build_shapes, build_state, centred_cover, different_turns
from nestkit.nesting.overlap.lane import Snapshot
from nestkit.nesting.overlap.outward import engine_polygon, room_of, without_idle_holes
from nestkit.nesting.overlap.result import Score
from nestkit.nesting.overlap.state import State
from nestkit.nesting.problem import Bin, Item, Layout, Seat, Spacing


@dataclass(frozen=True, eq=False)
class _Class:
    """Items that lie alike: reference point (mirrored outline's middle, mm), first shape, turns to shapes."""

    middle: NDArray[np.float64]
    shape_of: dict[float, int]
    turn_of: dict[int, float]


class Board:
    """The problem as the engine sees it; it holds no layout and never changes.

    Parameters
    ----------
    items, bins, spacing
        See `nesting.problem`.
    fixed : sequence of Seat
        Items that stay where they are.
    axis : int, optional
        Along which axis the last bin is to be left free; its longer side when not given.
    merge : int
        See `frame.build_shapes`.
    """

    def __init__(
        self,
        items: Sequence[Item],
        bins: Sequence[Bin],
        spacing: Spacing,
        fixed: Sequence[Seat] = (),
        axis: int | None = None,
        merge: int = 1500,
    ) -> None:
        self.items, self.bins, self.spacing, self.fixed = items, bins, spacing, tuple(fixed)
        half = spacing.gap / 2.0
        polygons, keys = self._polygons(half)
        self.areas = np.array([polygons[key].area for key in keys])
        mean = math.sqrt(float(self.areas.mean())) if len(items) else 1.0
        self.unit = 2.0 ** round(math.log2(mean))
        stencils, self.classes, self.class_of = self._stencils(polygons, keys)
        rooms = [room_of(bin.outline, spacing.margin, half, self._reach(polygons)) for bin in bins]
        self.boxes, self.shift = self._frame([bounds for bounds, _ in rooms], self._reach(polygons))
        self.axes = np.array(
            [(0 if b[2] - b[0] >= b[3] - b[1] else 1) if axis is None else axis for b in self.boxes],
            dtype=np.int64,
        )
        self.obstacles = self._obstacles([blocked for _, blocked in rooms], stencils)
        self.shapes, _ = build_shapes(stencils, merge=merge, fixed=len(self.obstacles))
        self.stencils = stencils
        self._number_shapes()

    def _polygons(self, half: float) -> tuple[dict[object, Polygon], list[object]]:
        """Engine polygons by what makes items alike, mirrored where they must be, and each item's key."""
        plain: dict[object, Polygon] = {}
        keys: list[object] = []
        for item in self.items:
            key = (
                tuple(ring.vertices.tobytes() for ring in item.outline.rings()),
                item.mirrored,
                item.turns.angles,
            )
            keys.append(key)
            if key not in plain:
                outline = item.outline.transformed(Placement(mirrored=item.mirrored).matrix)
                plain[key] = engine_polygon(outline, half)
        filled = without_idle_holes(list(plain.values()))
        return dict(zip(plain, filled, strict=True)), keys

    def _stencils(
        self, polygons: dict[object, Polygon], keys: list[object]
    ) -> tuple[list[Stencil], list[NDArray[np.float64]], list[int]]:
        numbers = {key: k for k, key in enumerate(polygons)}
        stencils, middles = [], []
        for key, polygon in polygons.items():
            cover, area, middle = centred_cover(polygon, self.unit)
            stencils.append(Stencil(cover, key[2], area))  # type: ignore[index]
            middles.append(middle)
        return stencils, middles, [numbers[key] for key in keys]

    @staticmethod
    def _reach(polygons: dict[object, Polygon]) -> float:
        """How far obstacles go beyond a bin, mm: farther than any part is wide."""
        boxes = [polygon.bounds for polygon in polygons.values()]
        return max((math.hypot(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes), default=1.0)

    def _frame(
        self, bounds: list[NDArray[np.float64]], reach: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Bins side by side: their boxes in the frame's unit, and each one's shift from its own place, mm."""
        boxes, shifts, left = [], [], 0.0
        for x0, y0, x1, y1 in bounds:
            shift = np.array([left - x0, -y0])
            boxes.append(
                ((x0 + shift[0]) / self.unit, 0.0, (x1 + shift[0]) / self.unit, (y1 - y0) / self.unit)
            )
            shifts.append(shift)
            left = (math.ceil((left + max(x1 - x0, 0.0) + 2.5 * reach) / self.unit) + 1) * self.unit
        return np.array(boxes).reshape(-1, 4), np.array(shifts).reshape(-1, 2)

    def _obstacles(
        self, blocked: list[list[Polygon]], stencils: list[Stencil]
    ) -> list[tuple[int, NDArray[np.float64], int]]:
        """Fixed copies: class, place and bin; each piece of what surrounds a bin, and each fixed item."""
        found: list[tuple[int, NDArray[np.float64], int]] = []
        for number, polygons in enumerate(blocked):
            for polygon in polygons:
                for piece in convex_cover(polygon):
                    middle = (piece.min(axis=0) + piece.max(axis=0)) / 2.0
                    local = (piece - middle) / self.unit
                    stencils.append(Stencil((local,), (0.0,), Polygon(local).area))
                    place = (middle + self.shift[number]) / self.unit
                    found.append((len(stencils) - 1, place, number))
        for seat in self.fixed:
            outline = self.items[seat.item].outline.transformed(seat.placement.matrix)
            polygon = engine_polygon(outline, self.spacing.gap / 2.0)
            cover, area, middle = centred_cover(polygon, self.unit)
            stencils.append(Stencil(cover, (0.0,), area))
            found.append((len(stencils) - 1, (middle + self.shift[seat.bin]) / self.unit, seat.bin))
        return found

    def _number_shapes(self) -> None:
        """For each class of items: allowed turn to shape, and shape to turn."""
        self.kinds: list[_Class] = []
        for k, middle in enumerate(self.classes):
            stencil, first = self.stencils[k], int(self.shapes.turn_at[k])
            if stencil.turns is None:
                self.kinds.append(_Class(middle, {}, {first: 0.0}))
                continue
            turns = different_turns(stencil)
            unlike = [m for m, (_, alike) in enumerate(turns) if m == alike]
            shape_of = {turn: first + unlike.index(alike) for turn, alike in turns}
            self.kinds.append(
                _Class(middle, shape_of, {first + m: turns[u][0] for m, u in enumerate(unlike)})
            )

    def loose(self) -> tuple[int, ...]:
        """The items that are not fixed."""
        held = {seat.item for seat in self.fixed}
        return tuple(k for k in range(len(self.items)) if k not in held)

    def state(self, active: Sequence[int], rooms: int, chance: Dice) -> State:
        """Arrays for the items ``active`` in the first ``rooms`` bins, to be laid by ``chance``."""
        kinds = [self.class_of[k] for k in active] + [number for number, _, _ in self.obstacles]
        areas = [self.stencils[k].area for k in kinds]
        state = build_state(self.shapes, kinds, areas, self.boxes[:rooms], chance, len(self.obstacles))
        for k, (_, place, number) in enumerate(self.obstacles, start=len(active)):
            state.at[k, :2] = place
            state.room[k] = min(number, rooms - 1)
        return state

    def layout(self, active: Sequence[int], places: Snapshot) -> Layout:
        """The layout in the bins' own coordinates."""
        seats = list(self.fixed)
        for k, item in enumerate(active):
            kind = self.kinds[self.class_of[item]]
            turn = kind.turn_of[int(places.shape[k])] + float(places.at[k, 2]) % math.tau
            room = int(places.room[k])
            spot = places.at[k, :2] * self.unit - self.shift[room]
            x, y = spot - apply(rotation(turn), kind.middle[None])[0]
            seats.append(Seat(item, room, Placement(float(x), float(y), turn, self.items[item].mirrored)))
        seated = {seat.item for seat in seats}
        return Layout(tuple(seats), tuple(k for k in range(len(self.items)) if k not in seated))

    def places(self, layout: Layout) -> tuple[list[int], Snapshot] | None:
        """A layout in the engine's terms; None when it breaks a turn rule."""
        held = {seat.item for seat in self.fixed}
        active, at, shape, room = [], [], [], []
        for seat in layout.seats:
            if seat.item in held:
                continue
            number = self.class_of[seat.item]
            kind = self.kinds[number]
            turn = seat.placement.turn
            if kind.shape_of:
                near = [a for a in kind.shape_of if abs(math.remainder(a - turn, math.tau)) < 1e-9]
                if not near:
                    return None
                shape.append(kind.shape_of[near[0]])
            else:
                shape.append(int(self.shapes.turn_at[number]))
            spot = apply(rotation(turn), kind.middle[None])[0] + (seat.placement.x, seat.placement.y)
            at.append((*((spot + self.shift[seat.bin]) / self.unit), 0.0 if kind.shape_of else turn))
            active.append(seat.item)
            room.append(seat.bin)
        return active, Snapshot(
            np.array(at).reshape(-1, 3),
            np.array(shape, dtype=np.int64),
            np.array(room, dtype=np.int64),
            math.inf,
        )

    def score_of(self, layout: Layout) -> Score:
        """How good a layout is, measured on the true outlines."""
        area = sum(self.items[k].outline.area for k in layout.left_out)
        last = max((seat.bin for seat in layout.seats), default=-1)
        end = 0.0
        if last >= 0:
            axis = int(self.axes[last])
            origin = self.bins[last].outline.bounds[axis]
            for seat in layout.seats:
                if seat.bin == last:
                    outline = self.items[seat.item].outline.transformed(seat.placement.matrix)
                    end = max(end, outline.bounds[2 + axis] - origin)
        return Score(len(layout.left_out), area, last + 1, end)

    def fill(self, active: Sequence[int], rooms: int) -> float:
        """Share of the first ``rooms`` bins' bounds that the items would take up."""
        sides = np.maximum(self.boxes[:rooms, 2:] - self.boxes[:rooms, :2], 0.0) * self.unit
        room = float(np.prod(sides, axis=1).sum())
        return float(self.areas[list(active)].sum()) / room if room > 0.0 else math.inf
