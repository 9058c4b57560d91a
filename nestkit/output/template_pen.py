"""Draws lines and words in millimetres on a PDF page; the same calls give the same bytes."""

from __future__ import annotations

import io
import math
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from nestkit.geometry import Path
from nestkit.geometry.arcs import arc_angle, arc_centre
from nestkit.output.captions import LINE_HEIGHT, Caption
from nestkit.output.palette import BLACK, BLUE, BLUISH_GREEN, VERMILLION, Rgb, mixed
from nestkit.output.template_ink import Style
from nestkit.output.template_parts import KEPT
from nestkit.output.text import plain

POINTS_PER_MM = 72.0 / 25.4
WHITE: Rgb = (255, 255, 255)
GREY = mixed(BLACK, WHITE, 0.45)
#: Behind what another page will lie on.
PALE = mixed(BLACK, WHITE, 0.9)

# One Bezier curve for an arc of 45 degrees is off by 4e-6 of its radius (from memory).
_LONGEST_ARC = math.pi / 4.0


@dataclass(frozen=True, slots=True)
class Look:
    """Width (mm), colour and dashes (mm) of a line; round ends make dots of dashes without length."""

    width: float
    colour: Rgb = BLACK
    dashes: tuple[float, ...] = ()
    round: bool = False


LOOKS: dict[Style, Look] = {
    Style.CUT: Look(0.35),
    Style.MARK: Look(0.25, mixed(BLUISH_GREEN, BLACK, 0.25), (2.5, 0.8)),
    Style.FOLD: Look(0.3, BLUE, (5.0, 1.2, 0.6, 1.2)),
    Style.BEVEL: Look(1.0, VERMILLION, (0.0, 4.0), round=True),
    Style.LIP: Look(0.12, mixed(BLUE, WHITE, 0.3), (1.0, 1.0)),
    Style.NOTCH: Look(0.3),
}
HELP = Look(0.15, GREY)
TRIM = Look(0.2, GREY, (2.0, 2.0))
BAR = Look(0.3)


class Pen:
    """A PDF that is being drawn."""

    def __init__(self, title: str) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self._data = io.BytesIO()
        # Not compressed: what a compressor makes of the same page differs from one machine to the next.
        self._canvas: Any = Canvas(self._data, invariant=1, pageCompression=0)
        self._canvas.setTitle(latin(title))
        self._canvas.setCreator("nestkit")

    def begin_page(self, width: float, height: float) -> None:
        """A new page of this size, mm; its origin is the lower left corner of the paper."""
        self._canvas.setPageSize((width * POINTS_PER_MM, height * POINTS_PER_MM))
        self._canvas.scale(POINTS_PER_MM, POINTS_PER_MM)

    def end_page(self) -> None:
        """Closes the page."""
        self._canvas.showPage()

    def finish(self) -> bytes:
        """The whole file."""
        self._canvas.save()
        return self._data.getvalue()

    def draw(
        self, path: Path, look: Look, shift: tuple[float, float] = (0.0, 0.0), begun: float = 0.0
    ) -> None:
        """Strokes a path.

        Parameters
        ----------
        path : Path
        look : Look
        shift : (float, float), mm
            From the path's coordinates to the page's.
        begun : float, mm
            How far the dashes have run already, so that they go on across pages.
        """
        self._set(look, begun)
        line = self._canvas.beginPath()
        dx, dy = shift
        x, y = path.start
        line.moveTo(x + dx, y + dy)
        for x0, y0, x1, y1, bulge in path.pieces():
            if math.hypot(x1 - x0, y1 - y0) * abs(bulge) < 1e-7:
                line.lineTo(x1 + dx, y1 + dy)
                continue
            for curve in _curves(x0, y0, x1, y1, bulge):
                line.curveTo(*(value + (dy if place % 2 else dx) for place, value in enumerate(curve)))
        if path.closed:
            line.close()
        self._canvas.drawPath(line, stroke=1, fill=0)

    def line(self, x0: float, y0: float, x1: float, y1: float, look: Look) -> None:
        """A straight line."""
        self._set(look, 0.0)
        self._canvas.line(x0, y0, x1, y1)

    def ring(self, x: float, y: float, radius: float, look: Look) -> None:
        """A circle."""
        self.draw(Path.circle(x, y, radius), look)

    def box(
        self, x: float, y: float, width: float, height: float, fill: Rgb, edge: Look | None = None
    ) -> None:
        """A filled rectangle, with an edge or without."""
        if edge is not None:
            self._set(edge, 0.0)
        self._canvas.setFillColorRGB(*(value / 255.0 for value in fill))
        self._canvas.rect(x, y, width, height, stroke=int(edge is not None), fill=1)

    def write(
        self,
        text: str,
        x: float,
        y: float,
        size: float,
        *,
        bold: bool = False,
        colour: Rgb = BLACK,
        anchor: str = "start",
    ) -> None:
        """A line of words whose base line starts, has its middle or ends at a place."""
        self._canvas.setFont(_font(bold), size)
        self._canvas.setFillColorRGB(*(value / 255.0 for value in colour))
        put = {
            "start": self._canvas.drawString,
            "middle": self._canvas.drawCentredString,
            "end": self._canvas.drawRightString,
        }[anchor]
        put(x, y, latin(text))

    def caption(self, caption: Caption, shift: tuple[float, float], colour: Rgb = BLACK) -> None:
        """A caption about its centre, the first of several lines in bold."""
        self._canvas.saveState()
        self._canvas.translate(caption.x + shift[0], caption.y + shift[1])
        self._canvas.rotate(math.degrees(caption.angle))
        for place, words in enumerate(caption.lines):
            down = (place - (len(caption.lines) - 1) / 2.0) * LINE_HEIGHT * caption.size
            # The base line lies about a third of the size below the middle of a line of Latin letters.
            y = -down - 0.35 * caption.size
            bold = place == 0 and len(caption.lines) > 1
            self.write(words, 0.0, y, caption.size, bold=bold, colour=colour, anchor="middle")
        self._canvas.restoreState()

    def _set(self, look: Look, begun: float) -> None:
        self._canvas.setStrokeColorRGB(*(value / 255.0 for value in look.colour))
        self._canvas.setLineWidth(look.width)
        self._canvas.setLineCap(1 if look.round else 0)
        self._canvas.setLineJoin(1)
        if look.dashes:
            self._canvas.setDash(list(look.dashes), begun % sum(look.dashes))
        else:
            self._canvas.setDash([])


def _font(bold: bool) -> str:
    return "Helvetica-Bold" if bold else "Helvetica"


def _curves(x0: float, y0: float, x1: float, y1: float, bulge: float) -> list[tuple[float, ...]]:
    """Bezier curves for an arc: two control points and the end of each."""
    cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
    angle = arc_angle(bulge)
    count = max(1, math.ceil(abs(angle) / _LONGEST_ARC - 1e-9))
    step = angle / count
    reach = 4.0 / 3.0 * math.tan(step / 4.0) * radius
    start = math.atan2(y0 - cy, x0 - cx)
    found: list[tuple[float, ...]] = []
    for place in range(count):
        a, b = start + place * step, start + (place + 1) * step
        ax, ay, bx, by = math.cos(a), math.sin(a), math.cos(b), math.sin(b)
        end = (x1, y1) if place == count - 1 else (cx + radius * bx, cy + radius * by)
        found.append(
            (
                cx + radius * ax - reach * ay,
                cy + radius * ay + reach * ax,
                cx + radius * bx + reach * by,
                cy + radius * by - reach * bx,
                *end,
            )
        )
    return found


def width_of(text: str, size: float, bold: bool = False) -> float:
    """How wide a line of words is, mm."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(latin(text), _font(bold), size))


def fitted(text: str, width: float, size: float, bold: bool = False) -> str:
    """``text``, cut short with an ellipsis where it is wider than ``width`` mm."""
    if width_of(text, size, bold) <= width:
        return text
    for end in range(len(text) - 1, 0, -1):
        short = f"{text[:end].rstrip(' ,')}…"
        if width_of(short, size, bold) <= width:
            return short
    return ""


def wrapped(text: str, width: float, size: float, joint: str = " ") -> list[str]:
    """The text in lines no wider than ``width`` mm, broken at ``joint``."""
    lines: list[str] = []
    for word in text.split(joint):
        longer = f"{lines[-1]}{joint}{word}" if lines else word
        if lines and width_of(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(fitted(word, width, size))
    return lines


@lru_cache(maxsize=4096)
def latin(text: str) -> str:
    """What the standard fonts can show: letters without accents they lack, question marks for the rest."""
    shown = []
    for letter in plain(text.replace(KEPT, " ")):
        for form in (letter, unicodedata.normalize("NFKD", letter)[:1], "?"):
            try:
                form.encode("cp1252")
            except UnicodeEncodeError:
                continue
            shown.append(form)
            break
    return "".join(shown)
