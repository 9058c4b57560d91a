"""What is drawn on the pages of a spread: lines by their style, cut to each page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from nestkit.build.model import Build
from nestkit.cutting.etching import grooves_of, has_folds
from nestkit.geometry import LineKind, Outline, Path
from nestkit.geometry.clip import Box, Run, clip_path
from nestkit.output.template_grid import Cell
from nestkit.output.template_layout import NOTCH, Laid, Spread

#: Templates that are smaller than this in one direction get no notches, mm.
SMALLEST_NOTCHED = 25.0
#: Half the width of an alignment cross, mm; less than half of the smallest overlap.
CROSS = 2.2

_CROSSES = (1.0 / 6.0, 0.5, 5.0 / 6.0)
_TRIES = 25


class Style(StrEnum):
    """How a line is drawn, from what it is for."""

    CUT = "cut"
    MARK = "mark"
    FOLD = "fold"
    BEVEL = "bevel"
    LIP = "lip"
    NOTCH = "notch"


@dataclass(frozen=True, eq=False)
class Ink:
    """A line on a spread, in the grid's coordinates; `angle` in radians for a fold or bevel."""

    style: Style
    path: Path
    angle: float = 0.0


@dataclass(frozen=True, eq=False)
class InkRun:
    """A stretch of a line that lies on a page."""

    ink: Ink
    run: Run


@dataclass(frozen=True, eq=False)
class Sheaf:
    """A spread with its lines and the alignment crosses between its pages.

    Parameters
    ----------
    spread : Spread
    lines : tuple of tuple of Ink
        For each template that is laid, in order.
    crosses : dict of (Cell, Cell) to tuple of (float, float), mm
        Where two pages that lie side by side have their crosses, the left or upper page first.
    """

    spread: Spread
    lines: tuple[tuple[Ink, ...], ...]
    crosses: dict[tuple[Cell, Cell], tuple[tuple[float, float], ...]]

    @classmethod
    def of(cls, build: Build, spread: Spread) -> Sheaf:
        """The spread with everything that is drawn on it."""
        lines = tuple(tuple(_ink_of(build, laid)) for laid in spread.laid)
        flat = [line_of(ink.path) for own in lines for ink in own]
        tree = shapely.STRtree(flat)
        crosses = {}
        for cell in spread.cells:
            for other in ((cell[0] + 1, cell[1]), (cell[0], cell[1] + 1)):
                if other in spread.cells:
                    crosses[cell, other] = _crosses(strip(spread, cell, other), tree)
        return cls(spread, lines, crosses)

    @cached_property
    def shown(self) -> dict[Cell, list[tuple[Laid, list[InkRun]]]]:
        """For each page, the templates that it shows, with their lines cut to it."""
        return {cell: self._on_page(cell) for cell in self.spread.cells}

    def _on_page(self, cell: Cell) -> list[tuple[Laid, list[InkRun]]]:
        box = self.spread.form.box(cell, self.spread.rows)
        shown = []
        for laid, lines in zip(self.spread.laid, self.lines, strict=True):
            runs = [InkRun(ink, run) for ink in lines for run in clip_path(ink.path, box)]
            if runs or laid.foam.intersects(shapely.box(*box)):
                shown.append((laid, runs))
        return shown

    @cached_property
    def neighbours(self) -> dict[Cell, dict[str, Cell]]:
        """For each page, the pages at its left, right, above and below."""
        steps = {"left": (-1, 0), "right": (1, 0), "above": (0, -1), "below": (0, 1)}
        return {
            cell: {
                side: (cell[0] + dx, cell[1] + dy)
                for side, (dx, dy) in steps.items()
                if (cell[0] + dx, cell[1] + dy) in self.spread.cells
            }
            for cell in self.spread.cells
        }


def line_of(path: Path) -> LineString:
    """A path as chords, mm."""
    points = path.flatten()
    return LineString(np.vstack((points, points[:1])) if path.closed else points)


def strip(spread: Spread, cell: Cell, other: Cell) -> Box:
    """What two pages share, mm."""
    a, b = spread.form.box(cell, spread.rows), spread.form.box(other, spread.rows)
    return max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])


def _ink_of(build: Build, laid: Laid) -> Iterator[Ink]:
    """Thin lines first, so that the cut lies over them."""
    part = laid.template.part
    if has_folds(part):
        for lip in grooves_of(build, part).lips:
            yield Ink(Style.LIP, lip.transformed(laid.matrix))
    for line in laid.shape.lines:
        if line.kind is LineKind.MARK or line.angle == 0.0:
            yield Ink(Style.MARK, line.path)
    for notch in _notches(part.shape.outline):
        yield Ink(Style.NOTCH, notch.transformed(laid.matrix))
    for ring in laid.shape.outline.rings():
        yield Ink(Style.CUT, ring)
    for line in laid.shape.lines:
        if line.kind is not LineKind.MARK and line.angle > 0.0:
            style = Style.FOLD if line.kind is LineKind.FOLD else Style.BEVEL
            yield Ink(style, line.path, line.angle)


def _notches(outline: Outline) -> Iterator[Path]:
    """Short strokes outside of an outline where its upright and level centre lines leave it."""
    x0, y0, x1, y1 = outline.bounds
    if min(x1 - x0, y1 - y0) < SMALLEST_NOTCHED:
        return
    edge = LineString(outline.polygon().exterior.coords)
    x, y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    for line, axis in ((((x, y0 - 1.0), (x, y1 + 1.0)), 1), (((x0 - 1.0, y), (x1 + 1.0, y)), 0)):
        met = edge.intersection(LineString(line))
        levels = sorted(point[axis] for part in shapely.get_parts(met) for point in part.coords)
        if not levels:
            continue
        for level, away in ((levels[0], -NOTCH), (levels[-1], NOTCH)):
            ends = [(x, level), (x, level + away)] if axis else [(level, y), (level + away, y)]
            yield Path.polyline(ends, False)


def _crosses(shared: Box, tree: shapely.STRtree) -> tuple[tuple[float, float], ...]:
    """Three places along the middle of a strip, as clear of lines as they can be."""
    x0, y0, x1, y1 = shared
    upright = y1 - y0 > x1 - x0
    found: list[tuple[float, float]] = []
    for share in _CROSSES:
        shares = share + (np.arange(_TRIES) - _TRIES // 2) / _TRIES * 0.26
        order = np.argsort(np.abs(shares - share), kind="stable")
        spots = [
            ((x0 + x1) / 2.0, y0 + (y1 - y0) * s) if upright else (x0 + (x1 - x0) * s, (y0 + y1) / 2.0)
            for s in shares[order]
        ]
        far = _distances(spots, tree)
        clear = np.flatnonzero(far > CROSS + 1.0)
        found.append(spots[int(clear[0]) if clear.size else int(np.argmax(far))])
    return tuple((float(x), float(y)) for x, y in found)


def _distances(spots: Sequence[tuple[float, float]], tree: shapely.STRtree) -> NDArray[np.float64]:
    points = shapely.points(spots)
    if not len(tree.geometries):
        return np.full(len(spots), np.inf)
    found = tree.query_nearest(points, return_distance=True, all_matches=False)
    far: NDArray[np.float64] = found[1]
    return far
