"""What passes between a pattern and the part list."""

from __future__ import annotations

from dataclasses import dataclass

from nestkit.geometry import Shape
from nestkit.geometry.affine import translation
from nestkit.patterns import Pattern


@dataclass(frozen=True, eq=False)
class Edge:
    """What an edge strip may go round or line: an outline at finished size.

    ``height`` and ``inner_height`` are how high its outer edge and those of its openings are, mm.
    """

    shape: Shape
    height: float
    inner_height: float


@dataclass(frozen=True, eq=False)
class Developed:
    """A pattern, and the gap that its flat pieces leave when they are closed, mm; None when it stays flat."""

    pattern: Pattern
    gap: float | None


def moved_to_origin(shape: Shape) -> Shape:
    """The shape with its box starting at (0, 0)."""
    x0, y0, _, _ = shape.outline.bounds
    return shape.transformed(translation(-x0, -y0))
