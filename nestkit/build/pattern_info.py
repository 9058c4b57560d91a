"""What a build remembers of a part that was developed from finished sizes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SeamInfo:
    """Edges of a pattern's parts that are glued together.

    Parameters
    ----------
    first, second : str
        Names of the two parts; the same twice when copies of one part, or its two ends, meet. ``second``
        is empty when the part goes round something else.
    count : int
        How many such seams the build has, spares left out.
    length : float, mm
        Of one of them.
    angle : float, radians, or None
        Fold angle at the seam; None where the foam is rolled or lies flat.
    round_edge : bool
        True when ``first`` is glued with the whole of its edge.
    edges : tuple of (str, points)
        The edges that meet, where the pattern says so: a part's name, and points in its coordinates, mm.
    """

    first: str
    second: str
    count: int
    length: float
    angle: float | None = None
    round_edge: bool = False
    edges: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Layers:
    """How many layers of one outline there are in one piece of a pattern, and what they reach, mm."""

    count: int
    reached: float
    asked: float

    @property
    def error(self) -> float:
        """How much higher it gets than was asked, mm; below 0 when it stays lower."""
        return self.reached - self.asked


@dataclass(frozen=True, eq=False)
class PatternInfo:
    """What is worth telling of a part that was developed from finished sizes.

    Parameters
    ----------
    kind : str
        ``cone``, ``dome``, ...
    owner : str
        The part's name in the build file; the parts of one pattern share it.
    finished : tuple of (str, float, bool)
        Sizes of the closed pattern: what, how much (mm, or radians), whether it is an angle.
    gap : float, mm, or None
        What is left open when the flat pieces are folded or rolled back; None when they stay flat.
    notes : tuple of str
        Sentences without a full stop.
    seams : tuple of SeamInfo
        What is glued to what, in all copies of the pattern.
    layers : Layers, optional
        For a stack, and for rings that fill a length.
    """

    kind: str
    owner: str
    finished: tuple[tuple[str, float, bool], ...]
    gap: float | None
    notes: tuple[str, ...] = ()
    seams: tuple[SeamInfo, ...] = ()
    layers: Layers | None = None
