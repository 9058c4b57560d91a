"""Cone: a frustum, a true cone or a cylinder, rolled from one sector or several.

The wall's neutral fibre keeps its length. Its frustum has the slant of the given surface and stands off by a
part of the thickness, measured square to the wall.

References
----------
Longfield, *Sheet Metal Drafting*, chapter V "Cones of Revolution": the pattern's radius is the slant height,
its arc the circumference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.geometry.arcs import bulge_of
from nestkit.patterns.model import (
    Foam,
    Measure,
    Pattern,
    Piece,
    Rolled,
    need,
    need_above_zero,
    seam_ticks,
    tick,
)

Side = Literal["inside", "outside"]

#: Diameters closer than this make a cylinder, mm.
SAME = 0.001
#: A wall that leans more than this is all but flat, radians.
FLATTEST = math.radians(85.0)
#: One piece covers no more than this, so that its seam edges lie apart on the sheet, radians.
WIDEST = math.radians(330.0)
MOST_PIECES = 64


@dataclass(frozen=True, slots=True)
class Wall:
    """The frustum in which a wall's neutral fibre lies, mm; ``lean`` is the cone's half-angle, radians."""

    wide: float
    narrow: float
    slant: float
    lean: float

    @property
    def height(self) -> float:
        """Between the two ends, along the axis."""
        return self.slant * math.cos(self.lean)

    @property
    def far(self) -> float:
        """Distance from the apex to the wide end, along the wall; infinite for a cylinder."""
        return self.slant * self.wide / (self.wide - self.narrow) if self.lean else math.inf

    @property
    def sweep(self) -> float:
        """Angle of the whole development, radians; 0 for a cylinder."""
        return math.tau * math.sin(self.lean)


@dataclass(frozen=True, slots=True)
class Cone:
    """A cone, frustum or cylinder.

    Parameters
    ----------
    foam : Foam
    lower_diameter, upper_diameter : float, mm
        0 for an end that comes to a point.
    height, slant : float, mm, optional
        One of them: along the axis or along the wall, of the neutral fibre, from end to end.
    lower_side, upper_side : "inside" or "outside"
        Which face of the wall each diameter is measured on.
    pieces : int, optional
        How many sectors go round; left out, as few as sheet and bed allow.
    bevel : bool
        Whether the wide end's edge is bevelled, so that it stands flat. The bevel narrows the opening; a wide
        end that is measured inside has its size after it.

    Raises
    ------
    PatternError
        When no foam can be rolled to these sizes.
    """

    foam: Foam
    lower_diameter: float
    upper_diameter: float
    height: float | None = None
    slant: float | None = None
    lower_side: Side = "outside"
    upper_side: Side = "outside"
    pieces: int | None = None
    bevel: bool = False

    def __post_init__(self) -> None:
        for key in ("lower_diameter", "upper_diameter"):
            value = getattr(self, key)
            need(key, math.isfinite(value) and value >= 0.0, "is less than 0")
        need(
            "lower_diameter",
            max(self.lower_diameter, self.upper_diameter) > 0.0,
            "both ends have the diameter 0",
        )
        given = [key for key in ("height", "slant") if getattr(self, key) is not None]
        need(
            "height",
            len(given) == 1,
            "is missing" if not given else "height and slant are both given",
            "Give either the height along the axis or the slant along the wall",
        )
        need_above_zero(given[0], getattr(self, given[0]))
        need(
            "pieces",
            self.pieces is None or 1 <= self.pieces <= MOST_PIECES,
            f"{self.pieces} is not from 1 to {MOST_PIECES}",
        )
        self.wall()

    def wall(self) -> Wall:
        """The neutral fibre's frustum.

        Raises
        ------
        PatternError
        """
        lower_is_wide, lean = self._lean()
        lower, upper = self._fibres(lean, lower_is_wide)
        wide, narrow = max(lower, upper), min(lower, upper)
        self._check(lower_is_wide, lean, wide, narrow)
        if self._pointed:
            slant = wide / math.sin(lean)
        elif self.slant is not None:
            slant = self.slant
        else:
            assert self.height is not None
            slant = self.height / math.cos(lean)
        wall = Wall(wide, narrow, slant, lean)
        need(
            "bevel",
            not self.bevel or self.foam.depth * math.tan(lean) < wall.slant,
            "the bevel would be wider than the wall is long",
            "Leave bevel out, or make the cone higher",
        )
        return wall

    @property
    def _pointed(self) -> bool:
        return min(self.lower_diameter, self.upper_diameter) == 0.0

    def _lean(self) -> tuple[bool, float]:
        """Whether the lower end is the wide one, and the cone's half-angle, radians.

        Sizes may be on different faces of the wall, and what a face or a bevel adds depends on the lean. The
        least lean that brings the two ends as far apart as they are to be is found by bisection.
        """
        lower, upper = self._fibres(0.0, True)
        lower_is_wide = self.upper_diameter == 0.0 if self._pointed else lower >= upper

        def apart(lean: float) -> float:
            lower, upper = self._fibres(lean, lower_is_wide)
            return lower - upper if lower_is_wide else upper - lower

        def beyond(lean: float) -> float:
            if self.slant is not None:
                return self.slant * math.sin(lean) - apart(lean)
            assert self.height is not None
            return self.height * math.tan(lean) - apart(lean)

        if apart(0.0) * 2.0 < SAME:
            return lower_is_wide, 0.0
        grid = [math.radians(k / 4.0) for k in range(360)]
        high = next((lean for lean in grid if beyond(lean) >= 0.0), None)
        if high is None:
            need(
                "slant",
                self.slant is None,
                f"{self.foam.told(self.slant or 0.0)} is too short: the wall has to go "
                f"{self.foam.told(apart(0.0))} outwards"
                + (", and what the bevel takes off comes on top" if self.bevel else ""),
                "Make the slant longer, or the diameters more alike",
            )
            return lower_is_wide, math.pi / 2.0
        low = max(0.0, high - grid[1])
        for _ in range(60):
            middle = (low + high) / 2.0
            low, high = (middle, high) if beyond(middle) < 0.0 else (low, middle)
        return lower_is_wide, 0.0 if apart(high) * 2.0 < SAME else high

    def _fibres(self, lean: float, lower_is_wide: bool) -> tuple[float, float]:
        """Radii of the neutral fibre at the lower and the upper end, mm; it runs on to a point."""
        ends = ((self.lower_diameter, self.lower_side), (self.upper_diameter, self.upper_side))
        lower, upper = (self._neutral(size / 2.0, side, lean) if size else 0.0 for size, side in ends)
        room = self._room(ends[0 if lower_is_wide else 1][1], lean)
        return (lower + room, upper) if lower_is_wide else (lower, upper + room)

    def _bevel_cut(self, lean: float) -> float:
        """What the wide end's bevel takes off its inside, mm of radius."""
        return self.foam.depth * math.tan(lean) * math.sin(lean) if self.bevel else 0.0

    def _room(self, wide_side: Side, lean: float) -> float:
        """How much wider the wide end is rolled, so that its opening has its size once it is bevelled."""
        return self._bevel_cut(lean) if wide_side == "inside" else 0.0

    def _neutral(self, radius: float, side: Side, lean: float) -> float:
        """Radius of the neutral fibre at an end, mm, from the radius of one face."""
        off = self.foam.neutral if side == "inside" else self.foam.neutral - 1.0
        return radius + off * self.foam.thickness * math.cos(lean)

    def _check(self, lower_is_wide: bool, lean: float, wide: float, narrow: float) -> None:
        foam = self.foam
        wide_key, narrow_key = ("lower_diameter", "upper_diameter")[:: 1 if lower_is_wide else -1]
        need(
            "height" if self.height is not None else "slant",
            lean <= FLATTEST,
            f"the wall would lean {math.degrees(lean):.1f} degrees from the axis and lie all but flat",
            'Make it higher, or use pattern = "ring"',
        )
        inwards = foam.neutral * foam.thickness * math.cos(lean)
        need(
            wide_key,
            wide - inwards > 1e-9,
            f"the wall is {foam.told(foam.thickness)} thick and closes on itself: it leaves no opening",
            f"Take thinner foam, or an outside diameter above {foam.told(2.0 * foam.thickness)}",
        )
        if self._pointed:
            need(
                wide_key,
                lean > math.radians(0.5),
                "the point is too sharp to be rolled",
                "Make the cone wider or shorter",
            )
            return
        least = 2.0 * foam.thickness * math.cos(lean)
        need(
            narrow_key,
            narrow - inwards > -1e-9,
            f"the wall closes on itself at the narrow end: {foam.told(foam.thickness)} of foam needs an "
            f"outside diameter of {foam.told(least)} there",
            "Make that end wider, take thinner foam, or write 0 for a point",
        )

    def develop(self) -> Pattern:
        """The flat pattern.

        Returns
        -------
        Pattern
            One sort of piece, as often as it takes to go round.
        """
        wall = self.wall()
        count = self._count(wall)
        shape = self._shape(wall, count)
        return Pattern(
            "cone",
            (Piece("", shape, count),),
            self._finished(wall),
            (Rolled(0, count, wall.wide, wall.narrow, wall.height),),
            tuple(self._notes(wall, shape, count)),
        )

    def _count(self, wall: Wall) -> int:
        least = max(1, math.ceil(wall.sweep / WIDEST - 1e-9))
        if self.pieces is not None:
            need(
                "pieces",
                self.pieces >= least,
                f"{self.pieces} is too few: the flat pattern would meet itself on the sheet",
                f"Write pieces = {least} or more",
            )
            return self.pieces
        return self._fewest(wall, least) or self._fewest(wall, least, by_hand=True) or least

    def _fewest(self, wall: Wall, least: int, by_hand: bool = False) -> int:
        """The fewest pieces that sheet and bed hold, or a whole sheet by hand; 0 when none of any number."""
        counts = range(least, MOST_PIECES + 1)
        return next((n for n in counts if self.foam.holds(_flat(wall, n), by_hand)), 0)

    def _shape(self, wall: Wall, count: int) -> Shape:
        outline = _flat(wall, count)
        half = wall.sweep / count / 2.0
        if wall.lean:
            left = _on(wall, -half, wall.far), _on(wall, -half, wall.far - wall.slant)
            right = _on(wall, half, wall.far), _on(wall, half, wall.far - wall.slant)
            middle = ((0.0, 0.0), (0.0, wall.slant))
            widths = (right[0][0] - left[0][0], right[1][0] - left[1][0])
            if half > math.pi / 2.0:
                # More than a half circle: what lies between the edges is the gap, and the foam is wider.
                widths = (2.0 * wall.far, 2.0 * (wall.far - wall.slant))
        else:
            width = outline.size[0]
            widths = (width, width)
            left, right = ((0.0, 0.0), (0.0, wall.slant)), ((width, 0.0), (width, wall.slant))
            middle = ((width / 2.0, 0.0), (width / 2.0, wall.slant))
        lines: list[Line] = [*seam_ticks(*left, widths, length=-6.0), *seam_ticks(*right, widths)]
        notch = min(6.0, wall.slant / 4.0)
        lines.append(tick(middle[0], (0.0, 1.0), notch))
        if wall.narrow > 0.0:
            lines.append(tick(middle[1], (0.0, -1.0), notch))
        if self.bevel and wall.lean:
            self.foam.depth  # noqa: B018 - refuses foam that is too thin for a bevel
            rim = outline.exterior.vertices[: _arcs(wall, count) + 1].copy()
            lines.append(Line(LineKind.BEVEL, Path(rim, False), wall.lean))
        return Shape(outline, tuple(lines))

    def _finished(self, wall: Wall) -> tuple[Measure, ...]:
        lean, foam = wall.lean, self.foam
        out = (1.0 - foam.neutral) * foam.thickness * math.cos(lean)
        inward = foam.neutral * foam.thickness * math.cos(lean)
        ends = [("wide end", wall.wide), ("narrow end", wall.narrow)] if lean else [("tube", wall.wide)]
        found = []
        for name, radius in ends:
            if radius > 0.0:
                cut = self._bevel_cut(lean) if name == "wide end" else 0.0
                found.append(Measure(f"{name} outside", 2.0 * (radius + out)))
                found.append(Measure(f"{name} inside", max(0.0, 2.0 * (radius - inward - cut))))
        found.append(Measure("height", wall.height))
        if lean:
            found += [Measure("slant", wall.slant), Measure("edge bevel", lean, angle=True)]
        return tuple(found)

    def _too_large(self, wall: Wall, outline: Outline) -> str:
        """What becomes of a piece that the bed does not hold, and what helps."""
        least = max(1, math.ceil(wall.sweep / WIDEST - 1e-9))
        fewest = self._fewest(wall, least)
        more = f"write pieces = {fewest}, or leave pieces out, for pieces that the cutter holds"
        if self.foam.holds(outline, by_hand=True):
            by_hand = "the bed does not hold its piece, which is cut by hand from a whole sheet"
            return f"{by_hand}; {more}" if fewest else by_hand
        if fewest:
            return f"no sheet holds its piece; {more}"
        if fewest := self._fewest(wall, least, by_hand=True):
            return f"no sheet holds its piece; write pieces = {fewest}, or leave pieces out"
        return (
            f"no sheet holds its piece, however many go round, because its wall is "
            f"{self.foam.told(wall.slant)} long; take a larger sheet, or make it of two lower cones"
        )

    def _notes(self, wall: Wall, shape: Shape, count: int) -> list[str]:
        notes = []
        on_bed = self.foam.holds(shape.outline)
        if count > 1:
            notes.append(f"{count} equal pieces go round")
        if not on_bed:
            notes.append(self._too_large(wall, shape.outline))
        if wall.lean and wall.narrow == 0.0:
            notes.append("the inside of the point is squeezed: thin it with a sanding drum before gluing")
        if wall.lean:
            leans = math.degrees(wall.lean)
            less = self.foam.told(2.0 * self.foam.thickness * math.tan(wall.lean) * math.sin(wall.lean), 2)
            notes.append(
                f"to stand flat, thin the wide end's edge by {leans:.1f} degrees on its inside"
                + (
                    " (the bevel does it, and the size inside is that of the bevelled opening)"
                    if self.bevel
                    else f", which narrows its opening by {less} (bevel = true cuts it and allows for that)"
                )
                + ("" if wall.narrow == 0.0 else ", and the narrow end's on its outside")
            )
        return notes


def _arcs(wall: Wall, count: int) -> int:
    """Arcs that a rim is made of: none of more than a half circle."""
    return max(1, math.ceil(wall.sweep / count / math.pi - 1e-9))


def _on(wall: Wall, angle: float, radius: float) -> tuple[float, float]:
    """A point of the sector, its wide rim's middle at (0, 0) and the apex above, mm."""
    # 2 sin^2(a/2) for 1 - cos a: a nearly cylindrical wall has an apex kilometres away.
    return radius * math.sin(angle), (wall.far - radius) + 2.0 * radius * math.sin(angle / 2.0) ** 2


def _flat(wall: Wall, count: int) -> Outline:
    """One piece's outline: it starts at the wide rim's left end."""
    if not wall.lean:
        return Outline(Path.rectangle(math.tau * wall.wide / count, wall.slant))
    half = wall.sweep / count / 2.0
    arcs = _arcs(wall, count)
    bulge = bulge_of(2.0 * half / arcs)
    turns = np.linspace(-half, half, arcs + 1)
    rows = [(*_on(wall, turn, wall.far), bulge) for turn in turns[:-1]]
    rows.append((*_on(wall, half, wall.far), 0.0))
    near = wall.far - wall.slant
    if wall.narrow == 0.0:
        rows.append((*_on(wall, 0.0, 0.0), 0.0))
    else:
        rows += [(*_on(wall, turn, near), -bulge) for turn in turns[:0:-1]]
        rows.append((*_on(wall, -half, near), 0.0))
    return Outline(Path(np.array(rows), True))
