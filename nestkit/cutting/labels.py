"""Labels: each copy carries its part's number in single strokes, on the face under the cutter.

The number stands at the widest place of the foam, clear of its edge, holes, grooves and lines. A copy goes
without where there is no room, or where that face is the one that shows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.build.model import Build, Part
from nestkit.cutting.etching import grooves_of, has_folds
from nestkit.cutting.lettering import ink_box, text_strokes
from nestkit.cutting.model import LABEL_LAYER, Stroke
from nestkit.folds.grooves import PartGrooves
from nestkit.geometry import LineKind, Path, Shape
from nestkit.geometry.rooms import BoxRoom
from nestkit.nesting.model import PlacedPart, PlannedSheet

#: Foam between a label and whatever is cut, etched or drawn, mm (common practice, no source).
CLEAR = 1.0
#: Smaller digits burn together, mm (common practice, no source).
SMALLEST = 2.5
#: Kept on top of CLEAR: curves are flattened, and rooms simplified, within less.
_HAIR = 0.12
#: Sizes that are tried, from the largest to the smallest.
_SIZES = 7

NO_ROOM = "no room for its number"
SHOWS = "its marked face shows"
NOT_ASKED = "not asked for"
BY_HAND = "cut by hand"


@dataclass(frozen=True, slots=True)
class Label:
    """Text on one copy, in the sheet's coordinates.

    Parameters
    ----------
    text : str
    x, y : float, mm
        Start of its base line.
    turn : float, radians
        Direction of its base line, counter-clockwise.
    height : float, mm
        Of its digits.
    """

    text: str
    x: float
    y: float
    turn: float
    height: float

    def paths(self) -> Iterator[Path]:
        """What is drawn, in writing order."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        matrix = self.height * np.array([[cos, sin], [-sin, cos]])
        for stroke in text_strokes(self.text):
            yield Path.polyline(stroke @ matrix + (self.x, self.y), False)


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a text's box lies on a part: its centre and direction in the part's coordinates, and its size."""

    x: float
    y: float
    turn: float
    height: float


def part_spot(build: Build, part: Part) -> Spot | str:
    """Where the number stands on each copy of a part; in words why it does not, if it does not.

    Raises
    ------
    ValueError
        When the part's folds can't be made; see `etching.fold_problems`.
    """
    if not build.labels.numbers or part.label is False:
        return NOT_ASKED
    if part.label is None and _face_shows(part):
        return SHOWS
    grooves = grooves_of(build, part) if has_folds(part) else None
    found = _spot(part.shape, grooves, str(build.number_in_list(part)), build.labels.height)
    return found or NO_ROOM


def labels_on(build: Build, sheet: PlannedSheet, placed: PlacedPart) -> tuple[Label, ...] | str:
    """What is written on a copy; in words why nothing is, if nothing is."""
    if sheet.how == "hand":
        return BY_HAND
    spot = part_spot(build, placed.part)
    if isinstance(spot, str):
        return spot
    return (_placed(spot, str(build.number_in_list(placed.part)), placed),)


def label_strokes(build: Build, sheet: PlannedSheet) -> Iterator[tuple[Stroke, ...]]:
    """The strokes of each copy's label on a sheet; those of one label stay together."""
    for placed in sheet.placed:
        labels = labels_on(build, sheet, placed)
        for label in () if isinstance(labels, str) else labels:
            yield tuple(
                Stroke(LABEL_LAYER, path, placed.part.name, placed.copy, LineKind.MARK)
                for path in label.paths()
            )


def _face_shows(part: Part) -> bool:
    """Whether the face under the cutter is taken for the one that shows.

    Folds close towards that face, so that it is the inside (see the guide, "What a line is for"); so it is in
    all patterns. A drawn part without folds that has marks is drawn as it is seen; without marks either face
    may be glued down.
    """
    if part.pattern is not None or has_folds(part):
        return False
    return any(line.kind is LineKind.MARK for line in part.shape.lines)


@lru_cache(maxsize=4096)
def _spot(shape: Shape, grooves: PartGrooves | None, text: str, largest: float) -> Spot | None:
    """The text as large as it goes, at the widest place that has room for it."""
    # Largest room first; rounded, so that equal ones come in the order in which they lie.
    rooms = sorted(_rooms(shape, grooves), key=lambda room: -round(float(room.area), 1))
    x0, y0, x1, y1 = ink_box(text)
    tried = [BoxRoom(room, widest_first=True) for room in rooms]
    for height in np.geomspace(largest, min(SMALLEST, largest), _SIZES).tolist():
        for room in tried:
            place = room.place((x1 - x0) * height, (y1 - y0) * height)
            if place is not None:
                return Spot(*place, height)
    return None


def _rooms(shape: Shape, grooves: PartGrooves | None) -> list[Polygon]:
    """The foam that is far enough from everything, in pieces."""
    busy: list[BaseGeometry] = []
    for line in shape.lines:
        points = line.path.flatten(0.02)
        busy.append(shapely.linearrings(points) if line.path.closed else shapely.linestrings(points))
    if grooves is not None:
        busy += [*grooves.areas[:1], grooves.mouths]
    away = CLEAR + _HAIR
    foam = shape.outline.polygon(0.02).buffer(-away)
    if busy:
        foam = foam.difference(shapely.union_all(shapely.buffer(busy, away)))
    return [each for each in shapely.get_parts(foam) if each.area > SMALLEST**2]


def _placed(spot: Spot, text: str, placed: PlacedPart) -> Label:
    """The text on a copy: never mirrored, and not upside down as it lies on the sheet."""
    matrix = placed.placement.matrix
    dx, dy = matrix[:2, :2] @ (math.cos(spot.turn), math.sin(spot.turn))
    turn = math.atan2(dy, dx)
    # Nearly upright text is read from the right, whichever side rounding takes it to.
    if not -math.pi / 2.0 + 1e-6 < turn <= math.pi / 2.0 + 1e-6:
        turn += math.pi if turn <= 0.0 else -math.pi
    x, y = matrix[:2, :2] @ (spot.x, spot.y) + matrix[:2, 2]
    # Box and centre stay; its text runs from the other end where the copy is mirrored or turned over.
    x0, y0, x1, y1 = ink_box(text)
    along, up = spot.height * (x0 + x1) / 2.0, spot.height * (y0 + y1) / 2.0
    cos, sin = math.cos(turn), math.sin(turn)
    return Label(
        text, float(x - along * cos + up * sin), float(y - along * sin - up * cos), turn, spot.height
    )
