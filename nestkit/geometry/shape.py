"""A flat piece as it is drawn or developed: its outline and the lines on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from nestkit.geometry.affine import Affine, scaling, translation
from nestkit.geometry.outline import Outline
from nestkit.geometry.path import Path


class LineKind(StrEnum):
    """What a drawn line is for."""

    CUT = "cut"
    MARK = "mark"
    FOLD = "fold"
    BEVEL = "bevel"
    GUIDE = "guide"


@dataclass(frozen=True, eq=False)
class Line:
    """A line on a part that is not cut through.

    Parameters
    ----------
    kind : LineKind
        mark, fold or bevel.
    path : Path
        Open or closed.
    angle : float, radians
        Fold angle (0 = flat, pi/2 = square corner) or bevel angle; 0 for a mark.
    """

    kind: LineKind
    path: Path
    angle: float = 0.0

    def transformed(self, matrix: Affine) -> Line:
        """The line mapped by ``matrix``; its angle stays."""
        return Line(self.kind, self.path.transformed(matrix), self.angle)


@dataclass(frozen=True, eq=False)
class Shape:
    """One flat piece: its outline and the marks, folds and bevels on it."""

    outline: Outline
    lines: tuple[Line, ...] = field(default=())

    def transformed(self, matrix: Affine) -> Shape:
        """The shape mapped by ``matrix``."""
        return Shape(self.outline.transformed(matrix), tuple(line.transformed(matrix) for line in self.lines))

    def scaled(self, factor: float) -> Shape:
        """The shape at another size; fold and bevel angles stay."""
        return self.transformed(scaling(factor))

    def at_origin(self) -> Shape:
        """The shape moved so that its outline's bounding box starts at (0, 0)."""
        x0, y0, _, _ = self.outline.bounds
        return self.transformed(translation(-x0, -y0))
