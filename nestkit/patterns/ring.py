"""Ring: flat discs with a hole, as many as fill a length."""

from __future__ import annotations

import math
from dataclasses import dataclass

from nestkit.geometry import Outline, Path, Shape
from nestkit.patterns.model import Foam, Measure, Pattern, Piece, need, need_above_zero

#: A ring narrower than this tears when it is lifted off the sheet, mm; common practice, no source.
NARROWEST = 1.0


def layers_for(length: float, thickness: float) -> int:
    """Whole layers that come nearest to a length; at least one."""
    return max(1, math.floor(length / thickness + 0.5 + 1e-9))


@dataclass(frozen=True, slots=True)
class Ring:
    """Flat rings.

    Parameters
    ----------
    foam : Foam
    outer_diameter, inner_diameter : float, mm
        With the fit allowance in; the inner one may be 0 for a disc.
    length : float, mm, optional
        What the rings together fill; left out, one ring.

    Raises
    ------
    PatternError
        When the ring leaves no foam.
    """

    foam: Foam
    outer_diameter: float
    inner_diameter: float = 0.0
    length: float | None = None

    def __post_init__(self) -> None:
        need_above_zero("outer_diameter", self.outer_diameter)
        need("inner_diameter", self.inner_diameter >= 0.0, "is less than 0")
        told = self.foam.told
        wall = (self.outer_diameter - self.inner_diameter) / 2.0
        need(
            "inner_diameter",
            wall >= NARROWEST,
            f"the ring leaves no foam: {told(self.inner_diameter)} inside and {told(self.outer_diameter)} "
            f"outside make a wall of {told(wall)}",
            f"A wall of {told(NARROWEST)} is the least; check both diameters and the fit",
        )
        if self.length is not None:
            need_above_zero("length", self.length)

    def develop(self) -> Pattern:
        """The flat pattern: one sort of piece, as often as it takes to fill the length."""
        outer, inner = self.outer_diameter / 2.0, self.inner_diameter / 2.0
        holes = (Path.circle(outer, outer, inner),) if inner else ()
        count = 1 if self.length is None else layers_for(self.length, self.foam.thickness)
        reached = count * self.foam.thickness
        finished = [
            Measure("outside", 2.0 * outer),
            Measure("inside", 2.0 * inner),
            Measure("length", reached),
        ]
        notes: tuple[str, ...] = ()
        if self.length is not None and abs(reached - self.length) > 0.05:
            notes = (
                f"{count} rings reach {self.foam.told(reached)}, "
                f"{self.foam.told(reached - self.length, 3, sign=True)} off what was asked",
            )
        shape = Shape(Outline(Path.circle(outer, outer, outer), holes))
        return Pattern("ring", (Piece("", shape, count),), tuple(finished), (), notes, reached, self.length)
