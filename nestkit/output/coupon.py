"""Coupons as files: DXF and SVG for the cutter, a page to read and write on, a table for the readings."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from nestkit.build.model import Build
from nestkit.build.readings import COLUMNS as READ_COLUMNS
from nestkit.cutting.coupon import CouponJob
from nestkit.cutting.model import CUT_INSIDE_LAYER, MARK_LAYER, SHEET_LAYER, pocket_layer
from nestkit.errors import OutputError
from nestkit.folds.coupon import Field
from nestkit.output.dxf import dxf_bytes
from nestkit.output.folder import replace_folder
from nestkit.output.svg import svg_bytes
from nestkit.output.text import plain, show_number
from nestkit.units import Unit, mm_per, show_gap, show_size

READINGS_FILE = "readings.csv"
#: Columns of the readings, in order; each field may be read up to three times.
COLUMNS = (*READ_COLUMNS, "what to measure")
READING_COLUMNS = ("reading 1", "reading 2", "reading 3")

_MM = 72.0 / 25.4
_PAGE = (210.0, 297.0)


def coupon_files(build: Build, coupons: Sequence[CouponJob]) -> dict[str, bytes]:
    """All files of the coupons by name; the same build gives the same bytes."""
    files: dict[str, bytes] = {}
    for one in coupons:
        files[f"{one.job.name}.dxf"] = dxf_bytes(one.job, build.cutter.dxf)
        files[f"{one.job.name}.svg"] = svg_bytes(build, one.job)
        files[f"{one.job.name}.pdf"] = coupon_page(build, one)
    files[READINGS_FILE] = readings_template(build, coupons)
    return files


def write_coupons(build: Build, coupons: Sequence[CouponJob], out: Path) -> tuple[Path, ...]:
    """Write the coupons into the new folder ``out``, all files or none.

    Raises
    ------
    OutputError
        When the folder holds anything: readings that were filled in are never overwritten.
    """
    if out.is_dir() and any(out.iterdir()):
        raise OutputError.one(str(out), "there is something in this folder", "Name another one with --out")
    files = coupon_files(build, coupons)
    replace_folder(out, files)
    return tuple(out / name for name in files)


def what_to_measure(field: Field, unit: Unit) -> str:
    """What the maker does with a field, in one sentence."""
    if field.kind == "kerf":
        plugs = int(field.value) - 1
        return f"put its {plugs} plugs into its opening, push them to one end, measure the gap ({unit})"
    if field.kind == "depth":
        return f"depth of the square of {int(field.value)} pass{'es' if field.value > 1 else ''} ({unit})"
    if field.kind == "skin":
        return f"skin {show_gap(field.value, unit)}: fold it shut, measure the angle (degrees, 0 = flat)"
    return f"width x {show_number(field.value, 2)}: fold it shut, measure the angle (degrees, 0 = flat)"


def readings_template(build: Build, coupons: Sequence[CouponJob]) -> bytes:
    """The table in which the readings are written; empty cells are left out of the calibration."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow((*COLUMNS, *READING_COLUMNS))
    per = mm_per(build.unit)
    for one in coupons:
        for field in one.coupon.fields:
            setting = field.value / per if field.kind == "skin" else field.value
            writer.writerow(
                (
                    plain(one.material),
                    show_number(one.thickness / per, 5),
                    build.unit,
                    field.name,
                    field.kind,
                    show_number(setting, 6),
                    show_number(field.passes, 3) if field.passes else "",
                    show_number(field.depth / per, 6) if field.depth else "",
                    what_to_measure(field, build.unit),
                    *("" for _ in READING_COLUMNS),
                )
            )
    return text.getvalue().encode("utf-8-sig")


def coupon_page(build: Build, one: CouponJob) -> bytes:
    """One A4 page: the coupon with its fields' numbers, and what to measure with room to write."""
    from reportlab.pdfgen.canvas import Canvas

    data = io.BytesIO()
    page = Canvas(data, pagesize=(_PAGE[0] * _MM, _PAGE[1] * _MM), invariant=1)
    page.setTitle(f"Coupon for {_latin(one.foam)}")
    page.setFont("Helvetica-Bold", 15)
    page.drawString(18 * _MM, (_PAGE[1] - 20) * _MM, f"Coupon for {_latin(one.foam)}: {_latin(build.name)}")
    page.setFont("Helvetica", 9)
    y = _PAGE[1] - 27.0
    for line in _instructions(one, build.unit):
        page.drawString(18 * _MM, y * _MM, line)
        y -= 4.4
    y = _picture(page, one, y)
    _table(page, one, build.unit, y)
    page.showPage()
    page.save()
    return data.getvalue()


def _instructions(one: CouponJob, unit: Unit) -> tuple[str, ...]:
    lines = [
        f"Cut {one.job.name}.dxf from a scrap of the same foam, at least "
        f"{show_size(*one.job.sheet.outline.size, unit)}, in the order of its layers, with no offset."
    ]
    steps = one.coupon.steps
    if steps is not None:
        lines += [
            f"Etch every pass with one power and speed that take about {show_gap(steps.rises[0], unit)} of "
            "foam; it need not be exact, the",
            "coupon finds out. Write them down and keep them for all later jobs.",
        ]
        if one.coupon.last < 1.0:
            times = {2: "twice", 3: "three times", 4: "four times"}[round(1.0 / one.coupon.last)]
            lines.append(
                f"Only the last layer, {pocket_layer(steps.count)}, is a lighter pass: the same power at "
                f"{times} the speed."
            )
        lines += [
            "D: the depth of the square. S, W: fold the strip shut until its walls touch, and measure by how "
            "much it turned (0 = flat).",
            "What is burnt through, or does not close, tells nothing: leave it empty.",
        ]
    lines += [
        "K: put the plugs into the opening, push them to one end, measure the gap that stays open. All plugs "
        "are alike.",
        f"Let it cool. Measure each field twice if you can, write it here and into {READINGS_FILE}.",
        f"Then run: nestkit calibrate BUILD {READINGS_FILE}",
    ]
    return tuple(lines)


def _picture(page: Any, one: CouponJob, top: float) -> float:
    """Draws the coupon below ``top`` (mm from the page's foot); gives where it ends."""
    x0, y0, x1, y1 = one.job.sheet.outline.bounds
    scale = min((_PAGE[0] - 36.0) / (x1 - x0), 105.0 / (y1 - y0))
    left, foot = 18.0, top - (y1 - y0) * scale - 2.0
    page.saveState()
    page.translate(left * _MM, foot * _MM)
    page.scale(scale * _MM, scale * _MM)
    page.setLineWidth(0.25)
    strokes = [(SHEET_LAYER, ring) for ring in one.job.sheet.outline.rings()]
    strokes += [(stroke.layer, stroke.path) for stroke in one.job.strokes]
    for layer, path in strokes:
        line = page.beginPath()
        points = path.flatten()
        line.moveTo(*points[0])
        for point in points[1:]:
            line.lineTo(*point)
        if path.closed:
            line.close()
        etched = layer.startswith("POCKET")
        grey = 0.55 if etched else 0.75 if layer == SHEET_LAYER else 0.0
        page.setStrokeGray(grey)
        page.setFillGray(0.88)
        page.setLineWidth(0.5 if layer == CUT_INSIDE_LAYER else 0.4 if layer == MARK_LAYER else 0.15)
        page.drawPath(line, stroke=1, fill=1 if etched else 0)
    page.restoreState()
    return foot - 7.0


def _table(page: Any, one: CouponJob, unit: Unit, top: float) -> None:
    """What to measure, in two columns when one is too long for the page."""
    fields = one.coupon.fields
    rows = (len(fields) + 1) // 2 if len(fields) > 14 else len(fields)
    step = min(7.0, (top - 12.0) / max(rows, 1))
    wide = (_PAGE[0] - 36.0) / (2.0 if rows < len(fields) else 1.0)
    for number, field in enumerate(fields):
        column, row = divmod(number, rows)
        x, y = 18.0 + column * wide, top - row * step
        page.setFont("Helvetica-Bold", 8)
        page.drawString(x * _MM, y * _MM, field.name)
        page.setFont("Helvetica", 7.5 if rows < len(fields) else 8)
        words = _latin(what_to_measure(field, unit))
        if rows < len(fields):
            words = words.replace("put its ", "").replace(
                " into its opening, push them to one end, measure the", ":"
            )
            words = words.replace("fold it shut, measure the angle (degrees, 0 = flat)", "angle (degrees)")
        page.drawString((x + 9.0) * _MM, y * _MM, words)
        page.setLineWidth(0.4)
        page.setStrokeGray(0.4)
        page.line((x + wide - 24.0) * _MM, (y - 0.8) * _MM, (x + wide - 4.0) * _MM, (y - 0.8) * _MM)


def _latin(text: str) -> str:
    """What the page's font can show; other letters become question marks."""
    return plain(text).encode("latin-1", "replace").decode("latin-1")
