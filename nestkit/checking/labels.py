"""What is written on each copy: the right number, drawn as planned, clear of everything else, none missing.

The expected letters are drawn here anew from the glyphs of the stroke font, with code of its own.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from HersheyFonts import HersheyFonts
from numpy.typing import NDArray
from shapely.geometry import LineString

from nestkit.checking.etching import etched_region
from nestkit.checking.job_file import LABEL, MARK, POCKET, JobFile, Stroke
from nestkit.checking.limits import SIZE, SLACK
from nestkit.checking.pieces import Piece
from nestkit.checking.plan_entries import LabelEntry, PlacedCopy, PlanFile, SheetEntry
from nestkit.checking.verdict import Fault
from nestkit.errors import Point
from nestkit.units import show_gap, show_given

#: Foam that has to stay between a label and everything else, mm.
CLEAR = 0.9

_FONT = "futural"
#: The font's grid: digits reach from the base line to the cap line.
_BASE, _CAP = 9.0, -12.0
#: Digits that are digits still when the part is turned over by half, and which they are then.
_OVER = {"0": "0", "1": "1", "6": "9", "8": "8", "9": "6"}
_UNDERLINE = 0.3


@dataclass(frozen=True, eq=False)
class LabelJudge:
    """Judges the labels of the copies in one file."""

    job: JobFile
    sheet: SheetEntry
    plan: PlanFile

    def piece(self, piece: Piece, placed: PlacedCopy) -> Iterator[Fault]:
        """The labels of one copy; a plan that says nothing of labels is from before there were any."""
        if placed.labels is None:
            return
        drawn = [stroke for stroke in piece.lines if stroke.layer == LABEL]
        yield from self._number(piece, placed)
        yield from self._seams(piece, placed)
        left = list(drawn)
        for label in placed.labels:
            try:
                wanted = written(label)
            except KeyError:
                yield self._fault("label-wrong", piece, (label.x, label.y), f"'{label.text}' can't be drawn")
                continue
            missing = [line for line in wanted if not _take(line, left)]
            if missing:
                text = f"'{label.text}' is not drawn, or not as the plan has it"
                yield self._fault("label-missing", piece, (label.x, label.y), text)
        if left and not piece.explained:
            text = "something is written that the plan does not have"
            yield self._fault("label-wrong", piece, left[0].at, text)
        yield from self._clear(piece, drawn)

    def _number(self, piece: Piece, placed: PlacedCopy) -> Iterator[Fault]:
        """The part's number, or a reason why there is none."""
        number = str(self._number_of(placed.part))
        texts = [label.text for label in placed.labels or () if not label.text.startswith("(")]
        at = piece.outline.at
        if [text for text in texts if text != number]:
            told = " and ".join(f"'{text}'" for text in texts)
            yield self._fault("label-wrong", piece, at, f"it carries {told}, and its number is {number}")
        elif texts and placed.no_number:
            yield self._fault("label-wrong", piece, at, "the plan says that the copy has no number")
        elif not texts and not placed.no_number:
            text = f"its number, {number}, is nowhere on it, and the plan does not say why"
            yield self._fault("label-missing", piece, at, text)

    def _number_of(self, part: str) -> int:
        return self.plan.parts[part].number or list(self.plan.parts).index(part) + 1

    def _seams(self, piece: Piece, placed: PlacedCopy) -> Iterator[Fault]:
        """The numbers of its seams, each on as many edges as the plan says, or named as left off."""
        texts = [label.text for label in placed.labels or () if label.text.startswith("(")]
        wanted: Counter[str] = Counter()
        for seam in self.plan.seams:
            for part, count in seam.edges:
                if part == placed.part and part in seam.parts:
                    wanted[f"({seam.number})"] += count
        there = Counter(texts) + Counter(f"({number})" for number in placed.no_seams)
        at = piece.outline.at
        for text in sorted(there - wanted):
            yield self._fault("label-wrong", piece, at, f"it carries {text}, and the part has no such seam")
        # All of them may be switched off at once, never a few.
        missing = sorted(wanted - there)
        if missing and there:
            told = f"the seams' numbers {', '.join(missing)} are missing, and the plan does not say why"
            yield self._fault("label-missing", piece, at, told)

    def _clear(self, piece: Piece, drawn: Sequence[Stroke]) -> Iterator[Fault]:
        """Inside the foam, and away from its edges, from marks and from what is etched."""
        if not drawn:
            return
        text = shapely.union_all([stroke.line for stroke in drawn])
        if not piece.foam.buffer(SIZE).covers(text):
            return  # told as a path that leaves its part, or crosses a hole
        for what, other in (
            ("the part's edge", piece.foam.boundary),
            ("a mark", shapely.union_all([one.line for one in piece.lines if one.layer == MARK])),
            ("what is etched", self._etched(piece)),
        ):
            if not other.is_empty and text.distance(other) < CLEAR - SLACK:
                away, needed = show_gap(text.distance(other), self.job.unit), show_given(CLEAR, self.job.unit)
                amount = f"a label is {away} from {what}; it needs {needed}"
                yield self._fault("label-place", piece, drawn[0].at, amount)

    def _etched(self, piece: Piece) -> shapely.Geometry:
        """The widest pass, in which the others lie."""
        pockets = [one for one in piece.lines if POCKET.fullmatch(one.layer)]
        first = min((one.layer for one in pockets), default="")
        pitch = self.sheet.etching.pitch if self.sheet.etching is not None else 0.0
        return etched_region([one for one in pockets if one.layer == first], pitch)

    def _fault(self, code: str, piece: Piece, at: Point | None, text: str) -> Fault:
        part, copy = piece.key
        return Fault(code, self.job.name, part, copy or None, at, text)


def _take(line: LineString, strokes: list[Stroke]) -> bool:
    """Whether one of the strokes is this line; it is taken out."""
    for k, stroke in enumerate(strokes):
        if not stroke.closed and shapely.hausdorff_distance(line, stroke.line) <= SIZE + SLACK:
            del strokes[k]
            return True
    return False


def written(label: LabelEntry) -> list[LineString]:
    """The lines of a label on the sheet.

    Raises
    ------
    KeyError
        When the font lacks a letter.
    """
    cos, sin = math.cos(label.turn), math.sin(label.turn)
    lines = []
    for points in _letters(label.text):
        u, v = points.T * label.height
        lines.append(LineString(np.column_stack((label.x + cos * u - sin * v, label.y + sin * u + cos * v))))
    return lines


@lru_cache(maxsize=1024)
def _letters(text: str) -> tuple[NDArray[np.float64], ...]:
    """Lines from (0, 0) along x, digits 1 high."""
    font = HersheyFonts()
    font.load_default_font(_FONT)
    glyphs = font.all_glyphs
    lines: list[NDArray[np.float64]] = []
    at, size = 0.0, _BASE - _CAP
    for letter in text:
        glyph = glyphs[letter]
        for stroke in glyph.strokes:
            if len(stroke) > 1:
                lines.append(
                    np.array([((at + x - glyph.left_offset) / size, (_BASE - y) / size) for x, y in stroke])
                )
        at += glyph.char_width
    if _reads_otherwise(text) and lines:
        xs = np.concatenate([line[:, 0] for line in lines])
        lines.append(np.array([(xs.min(), -_UNDERLINE), (xs.max(), -_UNDERLINE)]))
    return tuple(lines)


def _reads_otherwise(text: str) -> bool:
    """Whether a number turned by half is another number."""
    digits = text.strip("()")
    if any(digit not in _OVER for digit in digits):
        return False
    other = "".join(_OVER[digit] for digit in reversed(digits))
    return other != digits and not other.startswith("0")
