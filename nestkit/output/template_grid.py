"""The grid of pages that a template is printed on: papers, tiles, and which tiles need a page.

Columns are lettered from the left, rows numbered from the top: page B1 stands to the right of A1. A grid's
origin is its lower left corner, mm, y upward.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from nestkit.build.model import PaperName, Templates
from nestkit.geometry.clip import Box

#: Width and height, upright, mm. A4 and A3: ISO 216. Letter: ANSI/ASME Y14.1, size A.
PAPERS: dict[PaperName, tuple[float, float]] = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "letter": (215.9, 279.4),
}
#: Height of the strip at a page's foot for names, map and the bars that check the printer, mm.
FOOT = 17.0

Cell = tuple[int, int]


@dataclass(frozen=True, slots=True)
class PageForm:
    """A page upright or lying on its side.

    Parameters
    ----------
    width, height : float, mm
        Of the paper as it lies.
    margin, overlap : float, mm
    """

    width: float
    height: float
    margin: float
    overlap: float

    @classmethod
    def of(cls, settings: Templates, lying: bool = False) -> PageForm:
        """The paper of the build."""
        short, long = PAPERS[settings.paper]
        width, height = (long, short) if lying else (short, long)
        return cls(width, height, settings.margin, settings.overlap)

    @property
    def lying(self) -> bool:
        """Whether it is wider than high."""
        return self.width > self.height

    @property
    def tile(self) -> tuple[float, float]:
        """Width and height of what one page shows, mm."""
        return self.width - 2.0 * self.margin, self.height - 2.0 * self.margin - FOOT

    @property
    def corner(self) -> tuple[float, float]:
        """Where the tile's lower left corner lies on the paper, mm."""
        return self.margin, self.margin + FOOT

    def grid_for(self, width: float, height: float) -> tuple[int, int]:
        """Columns and rows that show something of this size."""
        tile = self.tile
        return _count(width, tile[0], self.overlap), _count(height, tile[1], self.overlap)

    def extent(self, columns: int, rows: int) -> tuple[float, float]:
        """Width and height of a grid, mm."""
        tile = self.tile
        return (
            columns * tile[0] - (columns - 1) * self.overlap,
            rows * tile[1] - (rows - 1) * self.overlap,
        )

    def box(self, cell: Cell, rows: int) -> Box:
        """What the page at a column and row (from the top) shows of a grid, mm."""
        column, row = cell
        width, height = self.tile
        x = column * (width - self.overlap)
        y = (rows - 1 - row) * (height - self.overlap)
        return x, y, x + width, y + height


def _count(length: float, tile: float, overlap: float) -> int:
    return max(1, math.ceil((length - overlap) / (tile - overlap) - 1e-9))


def cell_name(cell: Cell) -> str:
    """``B1``: the column's letters and the row's number."""
    column, row = cell
    letters = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        letters = chr(ord("A") + place) + letters
    return f"{letters}{row + 1}"


def needed_cells(form: PageForm, columns: int, rows: int, rooms: Sequence[BaseGeometry]) -> tuple[Cell, ...]:
    """The pages of a grid that are printed, row by row.

    A page on which nothing lies is left out, and so is one whose share lies on other pages too, as long as
    what hangs together still does so from side to side.

    Parameters
    ----------
    form : PageForm
    columns, rows : int
    rooms : sequence of shapely geometry, mm
        What has to be shown, in the grid's coordinates.
    """
    tree = shapely.STRtree(list(rooms))
    shown: dict[Cell, BaseGeometry] = {}
    touched: dict[int, set[Cell]] = {}
    for row in range(rows):
        for column in range(columns):
            box = shapely.box(*form.box((column, row), rows))
            share = []
            for number in sorted(int(n) for n in tree.query(box, predicate="intersects")):
                part = rooms[number].intersection(box)
                if part.area > 1e-9:
                    share.append(part)
                    touched.setdefault(number, set()).add((column, row))
            if share:
                shown[column, row] = shapely.union_all(share)
    kept = set(shown)
    for cell in sorted(shown, key=lambda one: (round(shown[one].area, 3), one)):
        others = [shapely.box(*form.box(one, rows)) for one in _around(cell) if one in kept]
        if not others or shown[cell].difference(shapely.union_all(others)).area > 1e-6:
            continue
        without = kept - {cell}
        if all(_islands(cells & without) <= _islands(cells & kept) for cells in touched.values()):
            kept = without
    return tuple(sorted(kept, key=lambda one: (one[1], one[0])))


def _around(cell: Cell) -> Iterable[Cell]:
    column, row = cell
    return [(column + i, row + j) for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j]


def _islands(cells: set[Cell]) -> int:
    """How many groups of cells there are that hang together side by side."""
    left, count = set(cells), 0
    while left:
        count += 1
        reached = [left.pop()]
        while reached:
            column, row = reached.pop()
            for other in ((column + 1, row), (column - 1, row), (column, row + 1), (column, row - 1)):
                if other in left:
                    left.remove(other)
                    reached.append(other)
    return count
