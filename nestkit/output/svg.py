"""A job as an SVG file in millimetres: the same strokes as the DXF file."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from nestkit.build.model import Build
from nestkit.cutting.model import SHEET_LAYER, Job
from nestkit.output.palette import css, layer_colour, running_order
from nestkit.output.svg_path import path_data
from nestkit.output.text import plain, show_number
from nestkit.units import show_length, show_size

_LINE_WIDTH = 0.1


def svg_bytes(build: Build, job: Job) -> bytes:
    """The job's SVG file.

    One group for each layer, in the order they are to run; the sheet's edge lies below them. Each
    stroke carries ``data-part``, ``data-copy`` and, since groups part what the cut order mixes,
    ``data-order`` (from 1).

    Raises
    ------
    ValueError
        When a stroke lies on a layer that no job has.
    """
    outline = job.sheet.outline
    x0, y0, x1, y1 = outline.bounds
    width, height = show_number(x1 - x0, 6), show_number(y1 - y0, 6)
    size = show_size(x1 - x0, y1 - y0, build.unit)
    thickness = show_length(job.sheet.thickness, build.unit)
    about = (
        f"Sheet {job.sheet.index} of the plan: {job.sheet.material}, {thickness} thick, {size}. "
        f"Lengths are millimetres. {SHEET_LAYER} is the edge of the sheet and is not cut."
    )
    # y is turned over about the outline's top, so that the lower left corner stays the origin.
    drawn: dict[str, list[str]] = {name: [] for name in running_order(job)}
    for ring in outline.rings():
        drawn[SHEET_LAYER].append(f'<path d="{path_data(ring, y1)}"/>\n')
    for place, stroke in enumerate(job.strokes, start=1):
        drawn[stroke.layer].append(
            f'<path d="{path_data(stroke.path, y1)}" data-part={quoteattr(plain(stroke.part))}'
            f' data-copy="{stroke.copy}" data-order="{place}"/>\n'
        )
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>\n',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm"',
        f' viewBox="{show_number(x0, 6)} 0 {width} {height}">\n',
        f"<title>{escape(plain(build.name))}: {escape(plain(job.name))}</title>\n",
        f"<desc>{escape(plain(about))}</desc>\n",
    ]
    for name in (SHEET_LAYER, *(name for name in drawn if name != SHEET_LAYER)):
        dashes = ' stroke-dasharray="4 2"' if name == SHEET_LAYER else ""
        lines.append(
            f'<g id="{name}" class="layer" aria-label="{name}" fill="none"'
            f' stroke="{css(layer_colour(name).rgb)}" stroke-width="{_LINE_WIDTH}"{dashes}>\n'
            f"{''.join(drawn[name])}</g>\n"
        )
    lines.append("</svg>\n")
    return "".join(lines).encode("utf-8")
