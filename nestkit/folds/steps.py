"""How deep each pass goes and how wide it is: the V of a groove as a staircase of the same area.

A groove of depth D for a fold angle a is ``2 D tan(a/2)`` wide at its mouth. A bevel at an angle b is half
a groove along an edge, ``D tan(b)`` wide. The passes lie on each other, widest first, so that foam that is
etched k times is as deep as k passes go.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from nestkit.geometry import LineKind
from nestkit.units import Unit, show_gap

#: Layers of passes are numbered with two digits.
MOST_PASSES = 99

#: Areas are drawn at least this wide, mm: no narrower than can be seen in a cutter's program.
NARROWEST = 0.02

#: A depth that is no more than this over a number of passes needs no further pass, mm.
_HAIR = 1e-6


@dataclass(frozen=True, slots=True)
class FoldSettings:
    """What a cutter does to one foam, as far as folds go.

    Parameters
    ----------
    pass_depth : float, mm
        How deep the first etched pass goes.
    falloff : float, mm
        How much n passes fall short of n times that, over n squared: they go
        ``pass_depth * n - falloff * n**2`` deep.
    skin : float, mm
        Foam left uncut under a groove.
    width_factor : float
        Widths of grooves are multiplied by it; 1 where a fold closes at the angle asked.
    spot : float, mm
        How much wider an etched area comes out than it is drawn.

    Raises
    ------
    ValueError
        When a value is out of range.
    """

    pass_depth: float = 0.8
    falloff: float = 0.0
    skin: float = 0.6
    width_factor: float = 1.0
    spot: float = 0.0

    def __post_init__(self) -> None:
        values = (self.pass_depth, self.falloff, self.skin, self.width_factor, self.spot)
        if not all(math.isfinite(value) for value in values):
            raise ValueError("settings must be finite")
        if self.pass_depth <= 0.0 or self.width_factor <= 0.0:
            raise ValueError("pass depth and width factor must be more than 0")
        if min(self.falloff, self.skin, self.spot) < 0.0:
            raise ValueError("falloff, skin and spot can't be negative")

    def depth(self, passes: float) -> float:
        """How deep this many passes go, mm."""
        return self.pass_depth * passes - self.falloff * passes * passes

    @property
    def most_passes(self) -> int:
        """After this many, another pass is not taken to go deeper (or has no layer of its own)."""
        if self.falloff * 2.0 * MOST_PASSES <= self.pass_depth:
            return MOST_PASSES
        return max(1, math.floor(self.pass_depth / (2.0 * self.falloff)))


@dataclass(frozen=True)
class Steps:
    """The passes of every groove in one foam.

    Parameters
    ----------
    thickness, skin : float, mm
    depths : tuple of float, mm
        How deep foam is after pass 1, 2, ... n; the last is thickness less skin.
    share : float, 0..1
        What each pass takes of the depth that it would have at the full setting: the remainder of the
        last step is shared out among all.
    width_factor : float
    spot : float, mm
    """

    thickness: float
    skin: float
    depths: tuple[float, ...]
    share: float = 1.0
    width_factor: float = 1.0
    spot: float = 0.0

    @property
    def depth(self) -> float:
        """Thickness less skin, mm."""
        return self.depths[-1]

    @property
    def count(self) -> int:
        """Number of passes."""
        return len(self.depths)

    @cached_property
    def rises(self) -> tuple[float, ...]:
        """How much deeper each pass makes the foam, mm."""
        return tuple(b - a for a, b in zip((0.0, *self.depths), self.depths, strict=False))

    def mouth(self, kind: LineKind, angle: float) -> float:
        """Width of the groove's or bevel's V at the surface, mm; angle in radians."""
        return self.depth * lean(kind, angle) * self.width_factor

    def widths(self, kind: LineKind, angle: float) -> tuple[float, ...]:
        """Width of each etched area, first pass first, mm.

        Each is that of the V in the middle of the pass's depth: the staircase then has the V's area to the
        last digit, since the V's width is a straight line over depth.
        """
        tops = (0.0, *self.depths[:-1])
        factor = lean(kind, angle) * self.width_factor
        return tuple(
            factor * (self.depth - (top + bottom) / 2.0)
            for top, bottom in zip(tops, self.depths, strict=True)
        )

    def drawn(self, kind: LineKind, angle: float) -> tuple[float, ...]:
        """Width of each area as it is drawn, first pass first, mm: what the spot adds is taken off.

        An area that would be narrower than `NARROWEST` is drawn as wide as that, and what it takes away too
        much is taken off the pass before, so that the groove keeps the area of its V.
        """
        # The spot adds half its width on each side of a fold, and on the one side of a bevel.
        spot = self.spot / 2.0 if kind is LineKind.BEVEL else self.spot
        drawn, too_much = list[float](), 0.0
        for width, rise in zip(reversed(self.widths(kind, angle)), reversed(self.rises), strict=True):
            wanted = width - spot - too_much / rise
            drawn.append(max(wanted, NARROWEST))
            too_much = (drawn[-1] - wanted) * rise
        return tuple(reversed(drawn))


def lean(kind: LineKind, angle: float) -> float:
    """Width of a groove or bevel over its depth; angle in radians."""
    return math.tan(angle) if kind is LineKind.BEVEL else 2.0 * math.tan(angle / 2.0)


def groove_mouth(depth: float, angle: float) -> float:
    """Width at the surface of a groove for a fold angle in radians: ``2 D tan(a/2)``."""
    return depth * lean(LineKind.FOLD, angle)


def steps_for(thickness: float, settings: FoldSettings, unit: Unit = "mm") -> Steps:
    """The passes that leave the skin under a groove in foam of this thickness.

    Raises
    ------
    ValueError
        With a message for the maker, who measures in ``unit``, when no foam is left to etch or the cutter
        can't get that deep.
    """
    depth = thickness - settings.skin
    if depth <= 0.0:
        raise ValueError(
            f"a skin of {show_gap(settings.skin, unit)} leaves nothing to etch in foam of "
            f"{show_gap(thickness, unit)}"
        )
    most = settings.most_passes
    count = next((n for n in range(1, most + 1) if settings.depth(n) >= depth - _HAIR), None)
    if count is None:
        raise ValueError(
            f"{most} passes of {show_gap(settings.pass_depth, unit)} are the most and go "
            f"{show_gap(settings.depth(most), unit)} deep, not {show_gap(depth, unit)}"
        )
    share = min(1.0, depth / settings.depth(count))
    depths = [share * settings.depth(n) for n in range(1, count)]
    return Steps(thickness, settings.skin, (*depths, depth), share, settings.width_factor, settings.spot)


def removed(widths: Sequence[float], rises: Sequence[float]) -> float:
    """Area of the staircase's cross-section, mm^2."""
    return sum(width * rise for width, rise in zip(widths, rises, strict=True))
