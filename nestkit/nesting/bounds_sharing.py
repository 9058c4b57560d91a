"""Items that can't share a sheet, proven at every turn that they may take.

Two items share a sheet when one may lie somewhere beside the other so that both stay within the sheet. All
those places are looked at together: what the no-fit polygon forbids is taken from the box that the sheet
leaves, and nothing may be left. Where any turn is allowed the turns are cut into cells, and what an item
covers at every turn of its cell stands for it; cells that leave doubt are halved. For three items the discs
inside them stand for them.

References
----------
Bennell and Oliveira 2008, "The geometry of nesting problems: a tutorial", EJOR 184: no-fit polygons. The
halving of cells is interval branch and bound (R. E. Moore 1966, "Interval Analysis").
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import shapely
from shapely.geometry import MultiPolygon, Polygon

from nestkit.nesting.alike import Alike
from nestkit.nesting.bounds_turns import SLACK, Body, Cell, turned
from nestkit.nesting.forms import turn_choices
from nestkit.nesting.nofit import UNITS, Pieces, leaves_room, pieces_in_units

#: Width and height, mm.
Size = tuple[float, float]

#: Cells that a full turn is cut into at first, and the least half width of a cell, radians.
CELLS = 16
FINEST = math.radians(0.4)
#: Every so many cells, of each item, are looked at in their middles before anything is proven.
SAMPLED = 4
#: No pair but the last few takes more than this share of what may still be looked at: a hard one leaves some
#: to the others.
SHARE = 0.25


@dataclass
class Effort:
    """How much may still be looked at, in pairs of convex pieces: so much in all, whatever the clock says."""

    left: int = 20_000

    def takes(self, pieces: int) -> None:
        """Takes some away; a look at the simplest costs as much as eight pieces do."""
        self.left -= 1 + pieces // 8


@dataclass(eq=False)
class Sharing:
    """Which groups' items can't lie on one sheet.

    Parameters
    ----------
    room : (float, float), mm
        Between the sheet's margins.
    gap : float, mm
    effort : Effort
    """

    room: tuple[float, float]
    gap: float
    effort: Effort = field(default_factory=Effort)
    _kernels: dict[tuple[int, Cell], _Kernel] = field(default_factory=dict)
    _shapes: dict[tuple[int, float], tuple[Polygon | MultiPolygon, ...]] = field(default_factory=dict)

    def pairs(self, groups: Sequence[Alike]) -> list[tuple[int, int]]:
        """Numbers of groups no two items of which can share a sheet; (k, k): no two of one group."""
        bodies = [Body(group.item) for group in groups]
        sizes = [[body.size(turn) for turn in turn_choices(body.item)] for body in bodies]
        doubtful = [
            (i, j)
            for i, j in itertools.combinations_with_replacement(range(len(groups)), 2)
            if (i != j or groups[i].count > 1) and not self._lie_side_by_side(sizes[i], sizes[j])
        ]
        # Where what may be looked at does not do for all, the largest are the most likely to be apart.
        doubtful.sort(key=lambda pair: -sum(bodies[k].polygon.area for k in pair))
        found = []
        for left, (i, j) in zip(range(len(doubtful), 0, -1), doubtful, strict=True):
            if self.are_apart(bodies[i], bodies[j], max(SHARE, 1.0 / left)):
                found.append((i, j))
        return sorted(found)

    def triples(
        self, groups: Sequence[Alike], pairs: Sequence[tuple[int, int]]
    ) -> list[tuple[int, int, int]]:
        """Numbers of groups no three items of which can share a sheet, though any two of them may."""
        apart = set(pairs)
        discs = [_disc(group) for group in groups]
        # Three discs in a room: only such as leave no room for a fourth of the same size are worth a look.
        large = [k for k, radius in enumerate(discs) if 4.0 * radius > 0.5 * min(self.room)]
        found = []
        for some in itertools.combinations_with_replacement(large, 3):
            counted = all(some.count(k) <= groups[k].count for k in some)
            known = any(pair in apart for pair in itertools.combinations(some, 2))
            if counted and not known and discs_are_apart([discs[k] for k in some], self.room, self.gap):
                found.append(some)
        return found

    def are_apart(self, one: Body, other: Body, share: float = 1.0) -> bool:
        """Whether it is proven that the two can't share a sheet, by a share of what may be looked at."""
        first, second = one.cells(self.room, CELLS), other.cells(self.room, CELLS)
        if one.item.turns.angles is None:
            # A sheet turned by half a turn is the same sheet.
            first = [cell for cell in first if cell.middle < math.pi]
            if other.item.turns.angles is None and self._have_room(one, first, other, second):
                return False
        todo = list(itertools.product(first, second))
        least = round((1.0 - share) * self.effort.left)
        while todo:
            if self.effort.left <= least:
                return False
            a, b = todo.pop()
            if self._nowhere(one, a, other, b):
                continue
            halves = self._halved(one, a, other, b)
            if not halves:
                return False
            todo += halves
        return True

    def _have_room(self, one: Body, first: Sequence[Cell], other: Body, second: Sequence[Cell]) -> bool:
        """Whether the two leave doubt in some of the finest cells: then no halving would ever end."""
        turns = itertools.product(first[::SAMPLED], second[::SAMPLED])
        return any(
            not self._nowhere(one, Cell(a.middle, FINEST), other, Cell(b.middle, FINEST)) for a, b in turns
        )

    def _halved(self, one: Body, a: Cell, other: Body, b: Cell) -> list[tuple[Cell, Cell]]:
        if max(a.half, b.half) <= FINEST:
            return []
        if a.half * one.radius >= b.half * other.radius:
            return [(half, b) for half in a.split()]
        return [(a, half) for half in b.split()]

    def _lie_side_by_side(self, one: Sequence[Size], other: Sequence[Size]) -> bool:
        """Whether their boxes lie side by side at some plain turns: then there is nothing to prove."""
        width, height = self.room
        return any(
            (a[0] + b[0] + self.gap <= width and max(a[1], b[1]) <= height)
            or (a[1] + b[1] + self.gap <= height and max(a[0], b[0]) <= width)
            for a, b in itertools.product(one, other)
        )

    def _nowhere(self, one: Body, a: Cell, other: Body, b: Cell) -> bool:
        """Whether the second has no place beside the first at any turns of their cells."""
        fixed, moving = self._kernel(one, a), self._kernel(other, b)
        self.effort.takes(fixed.grown.count * moving.about.count)
        if fixed.is_nothing or moving.is_nothing:
            return False
        # Where the second's origin may lie, so that the box round both is no larger than the room.
        limits = []
        for axis in (0, 1):
            low, high = fixed.bounds[axis], fixed.bounds[axis + 2]
            from_, to = moving.bounds[axis], moving.bounds[axis + 2]
            room = self.room[axis] + SLACK
            if max(high - low, to - from_) > room:
                return True
            limits.append((high - room - from_, low + room - to))
        box = tuple(
            round(value * UNITS) for value in (limits[0][0], limits[1][0], limits[0][1], limits[1][1])
        )
        return not leaves_room(box, fixed.grown, moving.about)  # type: ignore[arg-type]

    def _kernel(self, body: Body, cell: Cell) -> _Kernel:
        key = (id(body), cell)
        if key not in self._kernels:
            self.effort.takes(100)
            shape = (id(body), cell.half)
            if shape not in self._shapes:
                self._shapes[shape] = _shape_of(body, cell.half, self.gap)
            kernel, around = (turned(foam, cell.middle) for foam in self._shapes[shape])
            self._kernels[key] = _Kernel.of(body, kernel, around)
        return self._kernels[key]


@dataclass(frozen=True, eq=False)
class _Kernel:
    """What a body covers at every turn of a cell: its box, and its pieces as it lies and as it moves."""

    bounds: tuple[float, float, float, float]
    grown: Pieces
    about: Pieces
    body: Body

    @property
    def is_nothing(self) -> bool:
        """Whether it covers nothing for certain."""
        return not self.about.count

    @classmethod
    def of(cls, body: Body, kernel: Polygon | MultiPolygon, around: Polygon | MultiPolygon) -> _Kernel:
        if kernel.is_empty:
            return cls((0.0, 0.0, 0.0, 0.0), Pieces.of([]), Pieces.of([]), body)
        # Holes stay in what lies, as parts may lie there; what moves needs its outside alone.
        filled = [Polygon(part.exterior) for part in shapely.get_parts(kernel)]
        return cls(
            kernel.bounds,
            pieces_in_units(*shapely.get_parts(around)),
            pieces_in_units(*filled).turned_about(),
            body,
        )


def _shape_of(body: Body, half: float, gap: float) -> tuple[Polygon | MultiPolygon, Polygon | MultiPolygon]:
    """The kernel of a cell about no turn, and it grown by the gap."""
    kernel = _with_few_corners(body, half)
    return kernel, shapely.buffer(kernel, gap, quad_segs=4) if gap > 0.0 else kernel


def _with_few_corners(body: Body, half: float) -> Polygon | MultiPolygon:
    """The body's kernel, some more taken off where it has many corners, so that it can be drawn simpler."""
    if len(shapely.get_coordinates(body.polygon)) <= 16:
        return body.kernel(half)
    loss = 0.005 * body.radius if half > 0.0 else SLACK
    kernel = shapely.simplify(body.kernel(half, SLACK + loss), loss)
    return kernel if kernel.is_valid else shapely.Polygon()


def _disc(group: Alike) -> float:
    """Radius of the largest disc inside an item, mm."""
    circle = shapely.maximum_inscribed_circle(group.item.outline.polygon(0.01), tolerance=0.05)
    return max(float(shapely.length(circle)) - 0.05, 0.0)


def discs_are_apart(
    radii: Sequence[float], room: tuple[float, float], gap: float, most: int = 20_000
) -> bool:
    """Whether it is proven that discs of these radii can't lie in one room with the gap between any two.

    Their middles are kept in boxes, which are halved until every choice of boxes holds two that are too
    close wherever in them the middles lie; after ``most`` choices the answer is no.
    """
    needs = {
        (i, j): radii[i] + radii[j] + gap - SLACK for i, j in itertools.combinations(range(len(radii)), 2)
    }
    boxes = []
    for radius in radii:
        inner = (room[0] - 2.0 * radius + SLACK, room[1] - 2.0 * radius + SLACK)
        if min(inner) < 0.0:
            return True
        boxes.append((radius, radius, radius + inner[0], radius + inner[1]))
    # A room mirrored is the same room: the first disc lies in its lower left quarter.
    x0, y0, x1, y1 = boxes[0]
    boxes[0] = (x0, y0, (x0 + x1) / 2.0, (y0 + y1) / 2.0)
    todo = [tuple(boxes)]
    for _ in range(most):
        if not todo:
            return True
        choice = todo.pop()
        if any(_farthest(choice[i], choice[j]) < need for (i, j), need in needs.items()):
            continue
        widest = max(range(len(choice)), key=lambda k: _longer(choice[k]))
        if _longer(choice[widest]) < 0.01 * min(room):
            return False
        for half in _halves(choice[widest]):
            todo.append((*choice[:widest], half, *choice[widest + 1 :]))
    return False


Box = tuple[float, float, float, float]


def _farthest(one: Box, other: Box) -> float:
    """Distance of the two points of two boxes that lie farthest apart."""
    across = max(other[2] - one[0], one[2] - other[0])
    along = max(other[3] - one[1], one[3] - other[1])
    return math.hypot(across, along)


def _longer(box: Box) -> float:
    return max(box[2] - box[0], box[3] - box[1])


def _halves(box: Box) -> tuple[Box, Box]:
    x0, y0, x1, y1 = box
    if x1 - x0 >= y1 - y0:
        middle = (x0 + x1) / 2.0
        return (x0, y0, middle, y1), (middle, y0, x1, y1)
    middle = (y0 + y1) / 2.0
    return (x0, y0, x1, middle), (x0, middle, x1, y1)
