"""What a pattern takes and gives: the foam, flat pieces, finished sizes, how it closes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString

from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.geometry.turned_box import turns_that_fit
from nestkit.units import Unit, mm_per, show_place

Spot = tuple[float, float]
Size: TypeAlias = tuple[float, float]

#: The gap that a refolded pattern may show at its seams, mm.
CLOSED = 0.1
#: Marks up to this length are notches, mm.
_NOTCH = 6.0


class PatternError(ValueError):
    """Sizes that no foam can be made to; `key` is the one that has to change, as the build file calls it."""

    def __init__(self, key: str, what: str, todo: str = "") -> None:
        self.key = key
        self.what = what
        self.todo = todo
        super().__init__(f"{key}: {what}")


@dataclass(frozen=True, slots=True)
class Foam:
    """The foam that a pattern is cut from.

    Parameters
    ----------
    thickness : float, mm
    skin : float, mm
        What a groove leaves uncut.
    neutral : float
        The fibre that keeps its length in a bend: 0 = inside, 1 = outside.
    rooms : tuple of (float, float), mm
        Sizes of the rectangles that a piece may fill; empty when nothing limits it.
    unit : "mm" or "in"
        In which messages and notes speak.
    whole : tuple of (float, float), mm
        Those that a piece may fill when it is cut by hand from a whole sheet.
    turns : tuple of float, radians, or None
        The turns that a piece may take on the sheet; any when None.

    Raises
    ------
    PatternError
        When the thickness is not above 0 or the fibre isn't in the foam.
    """

    thickness: float
    skin: float = 0.6
    neutral: float = 0.5
    rooms: tuple[Size, ...] = ()
    unit: Unit = "mm"
    whole: tuple[Size, ...] = ()
    turns: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        need_above_zero("thickness", self.thickness)
        need("skin", self.skin >= 0.0, "is less than 0")
        need(
            "neutral", 0.0 <= self.neutral <= 1.0, "lies outside the foam", "Write 0 (inside) to 1 (outside)"
        )

    @property
    def depth(self) -> float:
        """Depth of a groove: the line about which a fold turns lies this deep under the inside face.

        Raises
        ------
        PatternError
            When the skin leaves nothing to groove.
        """
        need(
            "thickness",
            self.thickness > self.skin,
            f"{self.told(self.thickness)} of foam is not more than a groove's skin of {self.told(self.skin)}",
            "Take thicker foam or a thinner skin",
        )
        return self.thickness - self.skin

    def told(self, mm: float, digits: int = 4, sign: bool = False) -> str:
        """A length as messages say it, to so many digits: ``5.4 mm`` or ``0.2126 in``."""
        value = mm / mm_per(self.unit)
        number = np.format_float_positional(value, digits, fractional=False, trim="-", sign=sign)
        return f"{number} {self.unit}"

    def told_place(self, spot: Spot) -> str:
        """A point as messages say it: ``at (200.0, 4.0) mm``."""
        return f"at {show_place(spot, self.unit)}"

    def holds(self, outline: Outline, by_hand: bool = False) -> bool:
        """Whether a piece lies in one of the rooms, or by hand on a whole sheet, at a turn it may take."""
        rooms = self.whole if by_hand else self.rooms
        return not self.rooms or any(turns_that_fit(outline, self.turns, room) for room in rooms)

    def longest(self, width: float) -> float:
        """Longest strip of this width that lies in one of the rooms; 0 when none is wide enough."""
        if not self.rooms:
            return math.inf
        hair = 1e-6
        sides = [(a, b) for room in self.rooms for a, b in (room, room[::-1])]
        return max((a for a, b in sides if width <= b + hair), default=0.0)


@dataclass(frozen=True, slots=True)
class Measure:
    """One finished size, mm, or an angle, radians: ``Measure("outside diameter", 180.0)``."""

    label: str
    value: float
    angle: bool = False


@dataclass(frozen=True, eq=False)
class Piece:
    """One flat piece of a pattern.

    Parameters
    ----------
    suffix : str
        What is put behind the part's name; empty when the pattern has one sort of piece.
    shape : Shape
        Inside up: grooves and bevels are etched into the side that is seen. What a drawing shows from
        outside is mirrored here.
    quantity : int
        How many the pattern takes.
    """

    suffix: str
    shape: Shape
    quantity: int = 1

    @cached_property
    def label(self) -> Spot:
        """Where a label finds the most room, clear of folds, long marks and holes, mm."""
        foam = self.shape.outline.polygon()
        folds = [
            LineString(line.path.flatten())
            for line in self.shape.lines
            if line.kind is LineKind.FOLD or (line.kind is LineKind.MARK and line.path.length > _NOTCH)
        ]
        clear = shapely.get_parts(foam.difference(shapely.union_all(folds).buffer(0.01)) if folds else foam)
        circles = [(shapely.maximum_inscribed_circle(part, 0.5), part) for part in clear]
        circle, part = max(circles, key=lambda found: (round(found[0].length), found[1].area))
        # Along a strip one place is as good as another: its middle, then.
        middle = part.centroid
        good = part.contains(middle) and part.exterior.distance(middle) > 0.9 * circle.length
        x, y = middle.coords[0] if good and not part.interiors else circle.coords[0]
        return float(x), float(y)


@dataclass(frozen=True, slots=True)
class Rolled:
    """A wall rolled round a cone or tube: its neutral fibre closes to circles of these radii, mm.

    Parameters
    ----------
    piece : int
        Which of the pattern's pieces.
    count : int
        How many of them go round.
    wide, narrow : float, mm
        Radii of the neutral fibre at the two ends.
    height : float, mm
        Between the two circles.
    """

    piece: int
    count: int
    wide: float
    narrow: float
    height: float


@dataclass(frozen=True, slots=True)
class Link:
    """A folded piece in a row of pieces.

    Parameters
    ----------
    piece : int
    left, right : tuple of (float, float)
        Points along its two seam edges, in the piece's coordinates, in the same order on both; foam lies on
        the right of ``left`` and on the left of ``right``.
    angle : float, radians
        Fold angle between this piece and the next one at the first stretch of the seam.
    """

    piece: int
    left: tuple[Spot, ...]
    right: tuple[Spot, ...]
    angle: float


@dataclass(frozen=True, slots=True)
class Cap:
    """A flat piece that closes the rim of a `Chain`.

    Parameters
    ----------
    piece : int
    corners : tuple of (float, float)
        In the piece's coordinates, counter-clockwise.
    rim : tuple of (float, float)
        The two ends of the rim's edge on the chain's first piece; the cap's first edge is glued to it.
    angle : float, radians
        Fold angle at that edge.
    """

    piece: int
    corners: tuple[Spot, ...]
    rim: tuple[Spot, Spot]
    angle: float


@dataclass(frozen=True, slots=True)
class Chain:
    """Folded pieces glued seam to seam; the last one's right edge meets the first one's left edge."""

    links: tuple[Link, ...]
    caps: tuple[Cap, ...] = ()


@dataclass(frozen=True, slots=True)
class Joint:
    """Where an edge strip's direction changes at once.

    Parameters
    ----------
    at : float, mm
        Along the whole strip.
    angle : float, radians
        Positive where the outline goes round a corner, negative in a hollow one.
    reach : float, mm
        What the joint adds to the strip on each side of it; below 0 where the strip is shorter there.
    kind : "fold", "crease", "bend" or "split"
    """

    at: float
    angle: float
    reach: float
    kind: str


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """A strip laid round an outline.

    Parameters
    ----------
    pieces : tuple of int
        In order along the strip.
    joints : tuple of Joint
        In order; they part the strip into runs.
    bends : tuple of float, radians
        Angle by which each run is bent along its way; one more than there are joints.
    fibres : tuple of float, mm
        How far outside the outline each run's neutral fibre lies; below 0 in an opening.
    seam : Joint
        At the strip's two ends; its angle is 0 when it lies on a run.
    outline : Path
        What the strip lies on, from the seam on, counter-clockwise.
    """

    pieces: tuple[int, ...]
    joints: tuple[Joint, ...]
    bends: tuple[float, ...]
    fibres: tuple[float, ...]
    seam: Joint
    outline: Path


@dataclass(frozen=True, eq=False, slots=True)
class Peaked:
    """A piece folded to a peak along one line by ``angle`` (radians).

    Turned over, so that the peak is up, its shadow is the drawn outline. ``drawn`` and ``axis`` are as
    they are seen from there; the flat piece is the mirror image.
    """

    piece: int
    drawn: Path
    axis: Path
    angle: float


Closing: TypeAlias = Rolled | Chain | Laid | Peaked


@dataclass(frozen=True, eq=False)
class Pattern:
    """A developed pattern.

    Parameters
    ----------
    kind : str
        ``cone``, ``dome``, ...
    pieces : tuple of Piece
    finished : tuple of Measure
        Sizes of the closed pattern.
    closings : tuple of Closing
        How it is folded or rolled; empty when it stays flat.
    notes : tuple of str
        What the maker should know, each a sentence without its full stop.
    height : float, mm
        What it reaches above its outline, for a pattern of layers; else 0.
    asked : float, mm, optional
        What the layers were to reach, where that is not a whole number of them by itself.
    """

    kind: str
    pieces: tuple[Piece, ...]
    finished: tuple[Measure, ...]
    closings: tuple[Closing, ...] = ()
    notes: tuple[str, ...] = ()
    height: float = 0.0
    asked: float | None = None

    def __post_init__(self) -> None:
        suffixes = [piece.suffix for piece in self.pieces]
        if not suffixes or len(set(suffixes)) != len(suffixes):
            raise ValueError("a pattern has at least one piece, and each has a suffix of its own")


def need(key: str, good: bool, what: str, todo: str = "") -> None:
    """Refuses what is not ``good`` about ``key``.

    Raises
    ------
    PatternError
    """
    if not good:
        raise PatternError(key, what, todo)


def need_above_zero(key: str, value: float) -> None:
    """Refuses a size that isn't finite or not above 0."""
    need(key, math.isfinite(value) and value > 0.0, "is not above 0")


def cut_alike(first: Shape, second: Shape) -> bool:
    """Whether two flat pieces are the same, places and all."""

    def rows(shape: Shape) -> list[list[float]]:
        paths = [*shape.outline.rings(), *(line.path for line in shape.lines)]
        return [[round(float(v), 6) for v in path.vertices.flat] for path in paths]

    return rows(first) == rows(second)


def tick(at: Sequence[float], along: Sequence[float], length: float = 6.0) -> Line:
    """A notch mark at the edge: from ``at`` (mm) in the direction ``along``, of any length."""
    size = math.hypot(along[0], along[1])
    x, y = at[0], at[1]
    end = (x + along[0] / size * length, y + along[1] / size * length)
    return Line(LineKind.MARK, Path.polyline([(x, y), end], False))


def seam_ticks(start: Spot, end: Spot, widths: tuple[float, float], length: float = 6.0) -> list[Line]:
    """Matching notches along a seam edge with the foam on its left: one near the start, two near the end.

    Both edges of a seam are walked from the same end, so that notches meet notches; the one whose foam is
    on the right gets a negative ``length``. ``widths`` is how wide the piece is at the edge's start and end,
    mm: notches stay on their own side of it.
    """
    dx, dy = end[0] - start[0], end[1] - start[1]
    inward = (-dy, dx) if length > 0.0 else (dy, -dx)
    found = []
    for part in (0.25, 0.7, 0.75):
        room = widths[0] + (widths[1] - widths[0]) * part
        size = min(abs(length), math.hypot(dx, dy) / 4.0, room / 3.0)
        found.append(tick((start[0] + dx * part, start[1] + dy * part), inward, size))
    return found


def straight(kind: LineKind, start: Spot, end: Spot, angle: float = 0.0) -> Line:
    """A straight mark, fold or bevel."""
    return Line(kind, Path.polyline([start, end], False), angle)
