"""Reads templates.pdf with pdfium: what is stroked and written on each page, in mm on the paper, y upward."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
from shapely.geometry import LineString, Polygon, box

MM = 25.4 / 72.0


@dataclass(frozen=True)
class Stroke:
    """A path that is stroked: its line, width in mm, colour and number of dash lengths."""

    line: LineString
    width: float
    colour: tuple[int, int, int]
    dashes: int

    @property
    def is_cut(self) -> bool:
        """As the legend says: thick, black and without dashes."""
        return self.colour == (0, 0, 0) and not self.dashes and abs(self.width - 0.35) < 0.01


@dataclass(frozen=True)
class PageRead:
    """Size in mm, strokes, filled areas, all words, and the box around each letter."""

    size: tuple[float, float]
    strokes: list[Stroke]
    fills: list[Polygon]
    text: str
    letters: list[tuple[str, Polygon]]


def read_pages(data: bytes) -> list[PageRead]:
    document = pypdfium2.PdfDocument(data)
    pages = [_page(document[number]) for number in range(len(document))]
    document.close()
    return pages


def _page(page: pypdfium2.PdfPage) -> PageRead:
    strokes: list[Stroke] = []
    fills: list[Polygon] = []
    for number in range(pdfium.FPDFPage_CountObjects(page.raw)):
        item = pdfium.FPDFPage_GetObject(page.raw, number)
        if pdfium.FPDFPageObj_GetType(item) != pdfium.FPDF_PAGEOBJ_PATH:
            continue
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        assert pdfium.FPDFPath_GetDrawMode(item, fill, stroke)
        points, factor = _points(item)
        if fill.value:
            fills.append(Polygon(points))
        if stroke.value:
            width = ctypes.c_float()
            assert pdfium.FPDFPageObj_GetStrokeWidth(item, width)
            rgb = [ctypes.c_uint() for _ in range(4)]
            assert pdfium.FPDFPageObj_GetStrokeColor(item, *rgb)
            dashes = pdfium.FPDFPageObj_GetDashCount(item)
            colour = (rgb[0].value, rgb[1].value, rgb[2].value)
            strokes.append(Stroke(LineString(points), width.value * factor, colour, dashes))
    words = page.get_textpage()
    letters = []
    for k in range(words.count_chars()):
        left, low, right, high = (value * MM for value in words.get_charbox(k))
        letter = words.get_text_range(k, 1)
        if letter.strip() and right > left and high > low:
            letters.append((letter, box(left, low, right, high)))
    size = page.get_width() * MM, page.get_height() * MM
    return PageRead(size, strokes, fills, words.get_text_range(), letters)


def _points(item: pdfium.FPDF_PAGEOBJECT) -> tuple[np.ndarray, float]:
    """The path's points on the paper, Bezier curves as chords, and how much it is enlarged."""
    matrix = pdfium.FS_MATRIX()
    assert pdfium.FPDFPageObj_GetMatrix(item, matrix)
    points: list[tuple[float, float]] = []
    waiting: list[tuple[float, float]] = []
    for k in range(pdfium.FPDFPath_CountSegments(item)):
        segment = pdfium.FPDFPath_GetPathSegment(item, k)
        x, y = ctypes.c_float(), ctypes.c_float()
        assert pdfium.FPDFPathSegment_GetPoint(segment, x, y)
        here = (x.value, y.value)
        if pdfium.FPDFPathSegment_GetType(segment) == pdfium.FPDF_SEGMENT_BEZIERTO:
            waiting.append(here)
            if len(waiting) == 3:
                points += _bezier(points[-1], *waiting)
                waiting = []
        else:
            assert not points or pdfium.FPDFPathSegment_GetType(segment) == pdfium.FPDF_SEGMENT_LINETO
            points.append(here)
        if pdfium.FPDFPathSegment_GetClose(segment) and points[-1] != points[0]:
            points.append(points[0])
    xy = np.array(points)
    across = np.column_stack(
        (
            matrix.a * xy[:, 0] + matrix.c * xy[:, 1] + matrix.e,
            matrix.b * xy[:, 0] + matrix.d * xy[:, 1] + matrix.f,
        )
    )
    return across * MM, float(np.hypot(matrix.a, matrix.b)) * MM


Point = tuple[float, float]


def _bezier(a: Point, b: Point, c: Point, d: Point) -> list[tuple[float, float]]:
    found = []
    for t in np.linspace(0.0, 1.0, 33)[1:]:
        s = 1.0 - t
        x, y = (
            float(s**3 * p + 3 * s * s * t * q + 3 * s * t * t * r + t**3 * e)
            for p, q, r, e in zip(a, b, c, d, strict=True)
        )
        found.append((x, y))
    return found
