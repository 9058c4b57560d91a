"""Pyramid: flat sides that lean to a point or to a smaller rim; spikes, studs, gems, obelisks, plinths.

Seams lie on a pyramid of their own: a groove's depth outward from the sides' inside faces, a skin inward from
their outside faces. All three have the same lean, so that each follows from any other.

References
----------
Fold angle between two planes: that of their outward normals, (sin b cos t, sin b sin t, cos b) for sides that
rise at b and face the direction t.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from nestkit.geometry import LineKind, Outline, Path, Shape
from nestkit.patterns.model import (
    Chain,
    Foam,
    Link,
    Measure,
    Pattern,
    Piece,
    Spot,
    need,
    need_above_zero,
    seam_ticks,
    straight,
)


@dataclass(frozen=True, slots=True)
class Pyramid:
    """Equal flat sides round an axis, as separate pieces with bevelled edges.

    Parameters
    ----------
    foam : Foam
    sides : int
        From 3.
    across_flats : float, mm
        Twice the distance from the axis to a side's face, at the foot.
    height : float, mm
        From the foot to the point, or to the upper rim.
    top_across_flats : float, mm
        The same as `across_flats` at the upper rim; 0 for a point.
    side : "inside" or "outside"
        Which face of the sides all three are measured on.

    Raises
    ------
    PatternError
        When the sides would not lean inwards, or leave no hollow.

    Examples
    --------
    A spike on a square foot: four triangles.

    >>> (side,) = Pyramid(Foam(4.0), 4, 50.0, 70.0).develop().pieces
    >>> side.quantity, len(side.shape.outline.exterior.vertices)
    (4, 3)
    """

    foam: Foam
    sides: int
    across_flats: float
    height: float
    top_across_flats: float = 0.0
    side: Literal["inside", "outside"] = "outside"

    def __post_init__(self) -> None:
        told = self.foam.told
        need("sides", 3 <= self.sides <= 64, f"{self.sides} is not from 3 to 64", "Write 4 for a square foot")
        need_above_zero("across_flats", self.across_flats)
        need_above_zero("height", self.height)
        need("top_across_flats", self.top_across_flats >= 0.0, "is less than 0", "Write 0 for a point")
        need(
            "top_across_flats",
            self.top_across_flats < self.across_flats,
            f"{told(self.top_across_flats)} is not less than {told(self.across_flats)} below",
            'Swap them, or use pattern = "prism" for upright sides',
        )
        need(
            "across_flats",
            self._foot(self.foam.thickness if self.side == "outside" else 0.0) > 0.0,
            f"{told(self.foam.thickness)} of foam at this lean leaves nothing hollow in "
            f"{told(self.across_flats)}",
            "Take thinner foam, a larger foot or a greater height",
        )
        need(
            "top_across_flats",
            not self.top_across_flats or self._rim() > 0.0,
            f"{told(self.foam.thickness)} of foam closes on itself before it has narrowed to "
            f"{told(self.top_across_flats)}",
            "Make the top wider, or write 0 for a point",
        )
        need(
            "height",
            self.foam.depth * math.tan(self._bevel()) < self._slant(),
            "its sides lie so flat that the bevel of their foot takes all of them",
            "Make it higher, or take thinner foam",
        )

    @property
    def lean(self) -> float:
        """How the sides rise, radians from the horizontal."""
        return math.atan2(2.0 * self.height, self.across_flats - self.top_across_flats)

    def _inward(self) -> float:
        """How far inward from the measured face the seams' pyramid lies, square to the sides, mm."""
        return self.foam.skin if self.side == "outside" else -self.foam.depth

    def _foot(self, inward: float) -> float:
        """Distance from the axis, at the foot, of a face so far inward from the measured one, mm."""
        return self.across_flats / 2.0 - inward / math.sin(self.lean)

    def _rim(self) -> float:
        """The same of the seams' pyramid at the upper rim; 0 for a point."""
        if not self.top_across_flats:
            return 0.0
        return self.top_across_flats / 2.0 - self._inward() / math.sin(self.lean)

    def _slant(self) -> float:
        """Length of a side along its middle, mm."""
        return (self._foot(self._inward()) - self._rim()) / math.cos(self.lean)

    def _seam_angle(self) -> float:
        across = math.sin(self.lean)
        return math.acos(across * across * math.cos(math.tau / self.sides) + math.cos(self.lean) ** 2)

    def _bevel(self) -> float:
        """What makes a side's foot lie flat: the angle between it and the upright, radians."""
        return math.pi / 2.0 - self.lean

    def develop(self) -> Pattern:
        """The flat pattern: one piece, ``sides`` times."""
        narrow = math.tan(math.pi / self.sides)
        foot, rim, slant = self._foot(self._inward()) * narrow, self._rim() * narrow, self._slant()
        left: tuple[Spot, Spot] = ((-foot, 0.0), (-rim if rim else 0.0, slant))
        right: tuple[Spot, Spot] = ((foot, 0.0), (rim, slant))
        ring = [*left[:1], *right, *([left[1]] if rim else [])]
        angle = self._seam_angle()
        lines = [straight(LineKind.BEVEL, *edge, angle / 2.0) for edge in (left, right)]
        lines.append(straight(LineKind.BEVEL, left[0], right[0], self._bevel()))
        if rim:
            lines.append(straight(LineKind.MARK, (0.0, slant), (0.0, slant - min(6.0, slant / 4.0))))
        widths = (2.0 * foot, 2.0 * rim)
        lines += [*seam_ticks(*left, widths, -4.0), *seam_ticks(*right, widths, 4.0)]
        piece = Piece("", Shape(Outline(Path.polyline(ring, True)), tuple(lines)), self.sides)
        chain = Chain((Link(0, left, right, angle),) * self.sides)
        notes = (
            f"{self.sides} sides; glue them edge to edge, bevel to bevel, and the bevelled foot lies flat",
        )
        return Pattern("pyramid", (piece,), self._finished(), (chain,), notes)

    def _finished(self) -> tuple[Measure, ...]:
        thick = self.foam.thickness
        outside, inside = (
            2.0 * self._foot(off) for off in ((0.0, thick) if self.side == "outside" else (-thick, 0.0))
        )
        height = self.height
        if not self.top_across_flats:
            # Outside and inside have the same lean and points of their own.
            height = outside / 2.0 * math.tan(self.lean)
        return (
            Measure("across flats outside", outside),
            Measure("across flats inside", inside),
            Measure("height outside", height),
            Measure("lean of the sides", self.lean, angle=True),
        )
