"""The turns at which an item can lie in a room, as cells that leave no turn out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from nestkit.geometry import Placement
from nestkit.nesting.problem import Item

Foam = TypeVar("Foam", bound=Polygon | MultiPolygon)

#: Sizes and rooms are compared with this much to spare, mm: the engines and `verify` allow less.
SLACK = 0.03


@dataclass(frozen=True, slots=True)
class Cell:
    """All turns no farther than `half` from `middle`, radians; a single turn when `half` is 0."""

    middle: float
    half: float

    def split(self) -> tuple[Cell, Cell]:
        """Its two halves."""
        quarter = self.half / 2.0
        return Cell(self.middle - quarter, quarter), Cell(self.middle + quarter, quarter)


class Body:
    """An item's foam, mirrored if it must be, holes filled or not, turned about a middle of its own.

    Parameters
    ----------
    item : Item
    filled : bool
        Without its holes, where nothing else can lie in them.
    """

    def __init__(self, item: Item, filled: bool = False) -> None:
        self.item = item
        outline = item.outline.transformed(Placement(mirrored=item.mirrored).matrix)
        polygon = outline.polygon(0.01)
        if filled:
            polygon = Polygon(polygon.exterior)
        middle = shapely.get_coordinates(shapely.centroid(shapely.minimum_bounding_circle(polygon)))[0]
        self.polygon: Polygon = shapely.transform(polygon, lambda xy: xy - middle)
        self.points = shapely.get_coordinates(shapely.convex_hull(self.polygon))
        #: No point of the outline is farther from the middle, mm.
        self.radius = float(np.hypot(self.points[:, 0], self.points[:, 1]).max())
        self._kernels: dict[tuple[float, float], Polygon | MultiPolygon] = {}

    def size(self, turn: float) -> tuple[float, float]:
        """Width and height at a turn, mm."""
        points = self.points @ _rotation(turn).T
        width, height = np.ptp(points, axis=0)
        return float(width), float(height)

    def kernel(self, half: float, loss: float = SLACK) -> Polygon | MultiPolygon:
        """Foam that is there at every turn up to ``half``, and at least ``loss`` mm inside the outline.

        That of a cell about any other turn is this one turned, so it is kept.
        """
        if (half, loss) not in self._kernels:
            # A point of the edge moves by no more than this from the cell's middle to its end.
            depth = 2.0 * self.radius * math.sin(half / 2.0) + loss
            self._kernels[half, loss] = shapely.buffer(self.polygon, -depth, join_style="mitre")
        return self._kernels[half, loss]

    def least_size(self, cell: Cell) -> tuple[float, float]:
        """What its width and height are at least, at any turn of the cell, mm."""
        width, height = self.size(cell.middle)
        change = 2.0 * self.radius * cell.half
        return max(width - change, 0.0), max(height - change, 0.0)

    def cells(self, room: tuple[float, float], count: int) -> list[Cell]:
        """Cells that hold every turn at which the item may lie in a room.

        Parameters
        ----------
        room : (float, float), mm
            The margin taken off.
        count : int
            How many cells a full turn is cut into, where any turn is allowed.
        """
        if self.item.turns.angles is not None:
            all_cells = [Cell(angle, 0.0) for angle in self.item.turns.angles]
        else:
            half = math.pi / count
            all_cells = [Cell((2 * k + 1) * half, half) for k in range(count)]
        return [cell for cell in all_cells if self._may_lie(cell, room)]

    def _may_lie(self, cell: Cell, room: tuple[float, float]) -> bool:
        width, height = self.least_size(cell)
        return width <= room[0] + SLACK and height <= room[1] + SLACK


def turned(foam: Foam, turn: float) -> Foam:
    """Foam at a turn about the origin."""
    lying: Foam = shapely.transform(foam, lambda xy: xy @ _rotation(turn).T)
    return lying


def _rotation(turn: float) -> NDArray[np.float64]:
    c, s = math.cos(turn), math.sin(turn)
    return np.array([[c, -s], [s, c]])
