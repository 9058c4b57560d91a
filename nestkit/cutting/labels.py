"""Labels: each copy carries its part's number in single strokes, and the numbers of its seams at their edges.

They stand on the face under the cutter, clear of edges, holes, grooves and lines. A copy goes without where
there is no room, or where that face is the one that shows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from nestkit.build.model import Build, Part
from nestkit.build.seam_numbers import seam_edges
from nestkit.cutting.etching import grooves_of, has_folds
from nestkit.cutting.label_places import Spot, places
from nestkit.cutting.lettering import ink_box, text_strokes
from nestkit.cutting.model import LABEL_LAYER, Stroke
from nestkit.geometry import LineKind, Path
from nestkit.nesting.model import PlacedPart, PlannedSheet

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
        A part's number, or a seam's in brackets.
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
class Written:
    """What is written on one copy.

    Parameters
    ----------
    labels : tuple of Label
    no_number : str
        Why its number is not among them; empty when it is.
    no_seams : tuple of int
        Seams whose numbers find no room, once for each edge.
    """

    labels: tuple[Label, ...] = ()
    no_number: str = ""
    no_seams: tuple[int, ...] = ()


def labels_on(build: Build, sheet: PlannedSheet, placed: PlacedPart) -> Written:
    """What is written on a copy.

    Raises
    ------
    ValueError
        When the part's folds can't be made; see `etching.fold_problems`.
    """
    part = placed.part
    if sheet.how == "hand":
        return Written(no_number=BY_HAND)
    if part.label is False:
        return Written(no_number=NOT_ASKED)
    if part.label is None and _face_shows(part):
        return Written(no_number=SHOWS)
    number = str(build.number_in_list(part)) if build.labels.numbers else ""
    edges = seam_edges(build).get(part.name, ()) if build.labels.seams else ()
    seams = tuple((f"({seam})", points) for seam, points in edges)
    grooves = grooves_of(build, part) if has_folds(part) else None
    first, *others = places(part.shape, grooves, number, seams, build.labels.height)
    return Written(
        labels=tuple(_placed(spot, placed) for spot in (first, *others) if spot is not None),
        no_number="" if first is not None else NO_ROOM if number else NOT_ASKED,
        no_seams=tuple(seam for (seam, _), spot in zip(edges, others, strict=True) if spot is None),
    )


def label_strokes(build: Build, sheet: PlannedSheet) -> Iterator[tuple[Stroke, ...]]:
    """The strokes of the labels on a sheet; those of one label stay together."""
    for placed in sheet.placed:
        for label in labels_on(build, sheet, placed).labels:
            yield tuple(
                Stroke(LABEL_LAYER, path, placed.part.name, placed.copy, LineKind.MARK)
                for path in label.paths()
            )


def _face_shows(part: Part) -> bool:
    """Whether the face under the cutter is taken for the one that shows.

    Folds close towards that face, so that it is the inside (see the guide, "What a line is for"); so it is in
    patterns that close, whose marks are their own. Anything else that has marks is drawn as it is seen: a
    bevel may be a chamfer that shows. Without marks either face may be glued down.
    """
    closes = part.pattern is not None and part.pattern.gap is not None
    folds = any(line.kind is LineKind.FOLD and line.angle > 0.0 for line in part.shape.lines)
    return not (closes or folds) and any(line.kind is LineKind.MARK for line in part.shape.lines)


def _placed(spot: Spot, placed: PlacedPart) -> Label:
    """The text on a copy: never mirrored, and not upside down as it lies on the sheet."""
    matrix = placed.placement.matrix
    dx, dy = matrix[:2, :2] @ (math.cos(spot.turn), math.sin(spot.turn))
    turn = math.atan2(dy, dx)
    # Nearly upright text is read from the right, whichever side rounding takes it to.
    if not -math.pi / 2.0 + 1e-6 < turn <= math.pi / 2.0 + 1e-6:
        turn += math.pi if turn <= 0.0 else -math.pi
    x, y = matrix[:2, :2] @ (spot.x, spot.y) + matrix[:2, 2]
    # Box and centre stay; its text runs from the other end where the copy is mirrored or turned over.
    x0, y0, x1, y1 = ink_box(spot.text)
    along, up = spot.height * (x0 + x1) / 2.0, spot.height * (y0 + y1) / 2.0
    cos, sin = math.cos(turn), math.sin(turn)
    return Label(
        spot.text, float(x - along * cos + up * sin), float(y - along * sin - up * cos), turn, spot.height
    )
