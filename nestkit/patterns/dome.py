"""Dome: part of a sphere from gores of flat facets, with an optional flat cap.

Fold lines and seams lie on a polyhedron whose corners are on one sphere. Facets reach a groove's depth
inward from it and a skin outward, round whose fold lines the skin bends.

References
----------
Half width of a flat-faceted gore at latitude p: R cos(p) sin(pi / n); plain trigonometry.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.patterns.model import (
    Cap,
    Chain,
    Foam,
    Link,
    Measure,
    Pattern,
    Piece,
    need,
    need_above_zero,
    seam_ticks,
    straight,
    tick,
)

#: A flat cap begins no lower over a ball: the dome would be twice as large as the ball, radians.
LOWEST_CAP = math.radians(30.0)

_POLE = math.pi / 2.0
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Dome:
    """Gores of flat facets over part of a sphere.

    Parameters
    ----------
    foam : Foam
    diameter : float, mm
        Of the ball that the dome and its cap fit over (``side`` inside) or that it fits into (outside).
    side : "inside" or "outside"
    gores, bands : int
        Gores round the axis, and facets along each.
    from_latitude, to_latitude : float, radians
        0 is the equator, pi/2 the upper pole.
    cap : bool
        Whether a flat piece closes the upper opening.

    Raises
    ------
    PatternError
        When no foam can be folded to these sizes.
    """

    foam: Foam
    diameter: float
    side: Literal["inside", "outside"] = "outside"
    gores: int = 8
    bands: int = 3
    from_latitude: float = 0.0
    to_latitude: float = _POLE
    cap: bool = False

    def __post_init__(self) -> None:
        need_above_zero("diameter", self.diameter)
        need("gores", 3 <= self.gores <= 64, f"{self.gores} is not from 3 to 64")
        need("bands", 1 <= self.bands <= 64, f"{self.bands} is not from 1 to 64")
        low, high = self.from_latitude, self.to_latitude
        need("from_latitude", low >= -_POLE - _HAIR, "is below the lower pole", "-90 is the lowest")
        need("to_latitude", high <= _POLE + _HAIR, "is above the upper pole", "90 is the highest")
        need("from_latitude", low < high - math.radians(0.5), "is not below to_latitude")
        need(
            "bands",
            self.bands > 1 or not (self._is_pole(low) and self._is_pole(high)),
            "one band from pole to pole has no width",
            "Write 2 or more",
        )
        need(
            "cap",
            not (self.cap and self._is_pole(high)),
            "the gores meet in a point and leave nothing to cap",
        )
        need(
            "to_latitude",
            not (self.cap and self.side == "inside") or high >= LOWEST_CAP - _HAIR,
            "puts the cap so low that it would cut through the ball or make the dome twice as large",
            f"Over a ball a cap begins at {math.degrees(LOWEST_CAP):.0f} degrees or higher",
        )
        self._radius()
        self._check_bands()

    @staticmethod
    def _is_pole(latitude: float) -> bool:
        return abs(abs(latitude) - _POLE) < 1e-7

    def _latitudes(self) -> list[float]:
        steps = np.linspace(self.from_latitude, self.to_latitude, self.bands + 1)
        return [float(step) for step in steps]

    def _profile(self, radius: float) -> list[tuple[float, float]]:
        """Distance from the axis and height of the middles of the gore's edges, mm."""
        flat = math.cos(math.pi / self.gores)
        return [
            (0.0 if self._is_pole(p) else radius * math.cos(p) * flat, radius * math.sin(p))
            for p in self._latitudes()
        ]

    def _nearest(self) -> float:
        """Least distance of a plane, the cap's too, from the centre, for a radius of 1; below 0 past it."""
        return min(self._facets(), math.sin(self.to_latitude)) if self.cap else self._facets()

    def _facets(self) -> float:
        """Least distance of a gore's facet from the centre, for a radius of 1."""
        spots = self._profile(1.0)
        return min(
            abs(x0 * y1 - x1 * y0) / math.hypot(x1 - x0, y1 - y0)
            for (x0, y0), (x1, y1) in itertools.pairwise(spots)
        )

    def _radius(self) -> float:
        """Radius of the sphere on which the fold lines' ends lie, mm."""
        depth, ball = self.foam.depth, self.diameter / 2.0
        if self.side == "inside":
            return (ball + depth) / self._nearest()
        radius = ball - self.foam.skin
        need(
            "diameter",
            radius * self._facets() - depth > 0.0,
            f"{self.foam.told(self.foam.thickness)} of foam leaves nothing hollow in "
            f"{self.foam.told(self.diameter)}",
            "Take thinner foam or a larger dome",
        )
        return radius

    def _check_bands(self) -> None:
        heights, folds = self._heights(self._radius()), self._folds()
        for k, height in enumerate(heights):
            mouths = [self.foam.depth * math.tan(a / 2.0) for a in folds[max(k - 1, 0) : k + 1]]
            need(
                "bands",
                height > sum(mouths),
                f"{self.bands} bands are {self.foam.told(height)} each, less than the grooves in them",
                "Take fewer bands, thinner foam or a larger dome",
            )

    def _heights(self, radius: float) -> list[float]:
        spots = self._profile(radius)
        return [math.dist(a, b) for a, b in itertools.pairwise(spots)]

    def _leans(self) -> list[float]:
        """Direction of each band in the meridian's plane, radians from the horizontal."""
        spots = self._profile(1.0)
        return [math.atan2(y1 - y0, x1 - x0) for (x0, y0), (x1, y1) in itertools.pairwise(spots)]

    def _folds(self) -> list[float]:
        leans = self._leans()
        return [b - a for a, b in itertools.pairwise(leans)]

    def _seam_angles(self) -> list[float]:
        """Fold angle between neighbouring gores in each band, radians."""
        turn = math.tau / self.gores
        found = []
        for lean in self._leans():
            across = math.sin(lean)  # the outward normal is (sin, -cos)
            cosine = across * across * math.cos(turn) + math.cos(lean) ** 2
            found.append(math.acos(min(1.0, max(-1.0, cosine))))
        return found

    def develop(self) -> Pattern:
        """The flat pattern.

        Returns
        -------
        Pattern
            Pieces ``gore`` and ``cap``, or one piece without a suffix when there is no cap.
        """
        radius = self._radius()
        pieces = [self._gore(radius)]
        left, right = self._sides(radius)
        link = Link(0, left, right, self._seam_angles()[0])
        caps: tuple[Cap, ...] = ()
        if self.cap:
            corners = self._cap_corners(radius)
            angle = self._leans()[-1]
            angle = math.pi - angle
            pieces.append(self._cap_piece(corners, angle))
            caps = (Cap(1, corners, (right[-1], left[-1]), angle),)
        chain = Chain((link,) * self.gores, caps)
        notes = [f"{self.gores} gores; glue them edge to edge, bevel to bevel"]
        if self.side == "inside" and self._nearest() < self._facets():
            notes.append("the ball touches the cap first; a higher to_latitude makes the dome fit closer")
        return Pattern("dome", tuple(pieces), self._finished(radius), (chain,), tuple(notes))

    def _finished(self, radius: float) -> tuple[Measure, ...]:
        ball, skin = 2.0 * (self._nearest() * radius - self.foam.depth), self.foam.skin
        low, high = (radius * math.sin(p) for p in (self.from_latitude, self.to_latitude))
        return (
            Measure("outside over corners", 2.0 * (radius + skin)),
            # A bowl with a lid has no ball about its middle.
            *([Measure("ball that it fits over", ball)] if ball > 0.0 else []),
            Measure("height between rims", high - low),
        )

    def _sides(
        self, radius: float
    ) -> tuple[tuple[tuple[float, float], ...], tuple[tuple[float, float], ...]]:
        """The gore's left and right edge, upward; (0, 0) is the middle of the lower rim."""
        y, right = 0.0, []
        for p, height in zip(self._latitudes(), [0.0, *self._heights(radius)], strict=True):
            y += height
            wide = 0.0 if self._is_pole(p) else radius * math.cos(p) * math.sin(math.pi / self.gores)
            right.append((wide, y))
        return tuple((-x if x else 0.0, y) for x, y in right), tuple(right)

    def _gore(self, radius: float) -> Piece:
        left, right = self._sides(radius)
        ring = [*right, *(spot for spot in reversed(left) if spot not in right)]
        lines: list[Line] = []
        for k, angle in enumerate(self._folds(), start=1):
            lines.append(straight(LineKind.FOLD, left[k], right[k], angle))
        for k, angle in enumerate(self._seam_angles()):
            for side in (left, right):
                lines.append(straight(LineKind.BEVEL, side[k], side[k + 1], angle / 2.0))
        if self.cap:
            lines.append(straight(LineKind.BEVEL, left[-1], right[-1], (math.pi - self._leans()[-1]) / 2.0))
        band = max(range(self.bands), key=lambda k: right[k][0] + right[k + 1][0])
        widths = (2.0 * right[band][0], 2.0 * right[band + 1][0])
        lines += [
            *seam_ticks(left[band], left[band + 1], widths, -4.0),
            *seam_ticks(right[band], right[band + 1], widths, 4.0),
        ]
        if right[0][0] > 0.0:
            lines.append(tick((0.0, 0.0), (0.0, 1.0), min(6.0, right[1][1] / 4.0)))
        suffix = "gore" if self.cap else ""
        return Piece(suffix, Shape(Outline(Path.polyline(ring, True)), tuple(lines)), self.gores)

    def _cap_corners(self, radius: float) -> tuple[tuple[float, float], ...]:
        wide = radius * math.cos(self.to_latitude)
        turns = [math.tau * k / self.gores for k in range(self.gores)]
        return tuple((wide * math.cos(turn), wide * math.sin(turn)) for turn in turns)

    def _cap_piece(self, corners: tuple[tuple[float, float], ...], angle: float) -> Piece:
        edges = zip(corners, (*corners[1:], corners[0]), strict=True)
        bevels = tuple(straight(LineKind.BEVEL, a, b, angle / 2.0) for a, b in edges)
        return Piece("cap", Shape(Outline(Path.polyline(corners, True)), bevels))
