"""``shopping.csv``, ``cutting.csv``, ``layers.csv``, ``folds.csv``: lists for a spreadsheet or for the wall.

All are UTF-8 with a byte order mark, since spreadsheets take accents apart without it, and end their
lines as RFC 4180 says. Lengths are in the build's unit, which the header names.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from nestkit.build.model import Build, Sheet
from nestkit.cutting.labels import BY_HAND, NOT_ASKED, labels_on
from nestkit.cutting.model import CUT_OUTSIDE_LAYER, SHEET_LAYER, Job, pocket_layer
from nestkit.nesting.model import PlacedPart, Plan, PlannedSheet
from nestkit.nesting.request import why_by_hand
from nestkit.output.grooves import grooves_in
from nestkit.output.palette import layer_task, running_order
from nestkit.output.plan_json import job_file
from nestkit.output.sums import Weight, foam_weight, glue_length
from nestkit.output.text import plain, show_number
from nestkit.units import KG_PER_POUND, mm_per

Cell = str | int

# A cell that begins with one of these is a formula to a spreadsheet, the full-width forms included.
_FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


def safe_cell(text: str) -> str:
    """``text`` as a cell that no spreadsheet takes for a formula: such text gets an apostrophe in front."""
    text = plain(text)
    return f"'{text}" if text.lstrip().startswith(_FORMULA_STARTS) else text


def cut_order(job: Job) -> tuple[PlacedPart, ...]:
    """What lies on the job's sheet, in the order in which it is cut free."""
    freed: dict[tuple[str, int], int] = {}
    for place, stroke in enumerate(job.strokes):
        if stroke.layer == CUT_OUTSIDE_LAYER:
            freed[stroke.part, stroke.copy] = place
    last = len(job.strokes)
    return tuple(sorted(job.sheet.placed, key=lambda each: freed.get((each.part.name, each.copy), last)))


def is_spare(placed: PlacedPart) -> bool:
    """Whether this copy is one of the part's spares, which are its last ones."""
    return placed.copy > placed.part.copies - placed.part.spares


def shopping_rows(build: Build, plan: Plan) -> list[tuple[str, Sheet, int, float]]:
    """What to get: "buy" or "take from the shop", the kind of sheet, how many, and what they cost.

    Sheets that are sold in packs are counted in packs; see `sold_as`.

    Raises
    ------
    KeyError
        When the plan asks for a sheet that the build does not list.
    """
    sheets = {sheet.name: sheet for sheet in build.sheets}
    rows = [
        ("buy", sheets[stock], count // sheets[stock].pack, count // sheets[stock].pack * sheets[stock].price)
        for group in plan.groups
        for stock, count in group.to_buy
    ]
    rows += [
        ("take from the shop", sheets[stock], count, 0.0)
        for group in plan.groups
        for stock, count in group.from_shop
    ]
    return rows


def sold_as(what: str, sheet: Sheet) -> str:
    """What is bought: the sheet, or a pack of them."""
    return f"{sheet.name}, pack of {sheet.pack}" if what == "buy" and sheet.pack > 1 else sheet.name


def shopping_bytes(build: Build, plan: Plan) -> bytes:
    """``shopping.csv``: a row for each kind of sheet, then hardware, glue, the total and the weight."""
    unit, per = build.unit, mm_per(build.unit)
    head = ("what", "sheet", "material", f"thickness ({unit})", f"width ({unit})", f"height ({unit})")
    heavy = "kg" if unit == "mm" else "lb"
    more = (f"diameter ({unit})", f"inner diameter ({unit})", f"length ({unit})", f"weight ({heavy})", "note")
    rows: list[Sequence[Cell]] = [(*head, "count", "price each", "price", *more)]
    total = 0.0
    for what, sheet, count, price in shopping_rows(build, plan):
        lengths = [_length(mm, per) for mm in (sheet.thickness, *sheet.size)]
        each = sheet.price if what == "buy" else 0.0
        name = sold_as(what, sheet)
        start: list[Cell] = [what, name, sheet.material, *lengths, count, _money(each), _money(price)]
        rows.append([*start, "", "", "", "", sheet.place])
        total += price
    for item in build.hardware:
        sizes = [
            "" if mm is None else _length(mm, per) for mm in (item.diameter, item.inner_diameter, item.length)
        ]
        note = "" if item.length is None else "cut to length"
        rows.append(("hardware", item.name, *[""] * 7, *sizes, "", note))
    seams = glue_length(build)
    if seams:
        rows.append(("glue", "contact cement", *[""] * 9, _length(seams, per), "", "length of the seams"))
    rows.append(("total", *[""] * 7, _money(total), *[""] * 5))
    weight = foam_weight(build, plan)
    if weight.kg:
        weighs = show_number(weight.kg / (1.0 if heavy == "kg" else KG_PER_POUND), 3)
        rows.append(("finished prop", "foam", *[""] * 10, weighs, _weight_note(weight)))
    return csv_bytes(rows)


def _weight_note(weight: Weight) -> str:
    """What the weight leaves out, and what it takes for granted."""
    notes = ["without glue and hardware"]
    if weight.unknown:
        notes.append(f"without {', '.join(weight.unknown)}, whose density is not known")
    if weight.assumed:
        taken = (f"{show_number(density, 0)} kg/m3 for {material}" for material, density in weight.assumed)
        notes.append(f"taking {', '.join(taken)}")
    return ", ".join(notes)


def cutting_bytes(build: Build, plan: Plan, jobs: Sequence[Job]) -> bytes:
    """``cutting.csv``: a row for each copy in cut order; copies that are left out stand at the end."""
    unit, per = build.unit, mm_per(build.unit)
    rows: list[Sequence[Cell]] = [
        (
            "job",
            "cut by",
            "stock sheet",
            "stock number",
            f"blank at x ({unit})",
            f"blank at y ({unit})",
            "position",
            "part",
            "copy",
            "number",
            "assembly",
            "material",
            f"thickness ({unit})",
            f"width ({unit})",
            f"height ({unit})",
            "mirrored",
            "turn (deg)",
            "note",
        )
    ]
    for job in jobs:
        sheet = job.sheet
        blank = (
            ("", "") if sheet.blank_origin is None else tuple(_length(mm, per) for mm in sheet.blank_origin)
        )
        for position, placed in enumerate(cut_order(job), start=1):
            part = placed.part
            rows.append(
                (
                    job_file(job),
                    sheet.how,
                    sheet.stock,
                    sheet.stock_number,
                    *blank,
                    position,
                    part.name,
                    placed.copy,
                    build.number_in_list(part),
                    part.assembly,
                    part.material,
                    *(_length(mm, per) for mm in (part.thickness, *part.shape.outline.size)),
                    "yes" if placed.placement.mirrored else "no",
                    show_turn(placed.placement.turn),
                    ", ".join(
                        filter(
                            None,
                            (
                                "spare" * is_spare(placed),
                                "cut already" * bool(sheet.kept),
                                hand_note(build, sheet, placed),
                                number_note(build, sheet, placed),
                            ),
                        )
                    ),
                )
            )
    for left in plan.unplaced:
        part = left.part
        lengths = [_length(mm, per) for mm in (part.thickness, *part.shape.outline.size)]
        number = build.number_in_list(part)
        copy: list[Cell] = [part.name, left.copy, number, part.assembly, part.material, *lengths]
        rows.append(
            (*[""] * 7, *copy, "yes" if part.is_mirrored(left.copy) else "no", "", f"left out: {left.why}")
        )
    return csv_bytes(rows)


def hand_note(build: Build, sheet: PlannedSheet, placed: PlacedPart) -> str:
    """Why a copy is cut by hand; empty when the cutter cuts it."""
    if sheet.how != "hand":
        return ""
    return f"by hand: {why_by_hand(build.cutter.kind, placed.part)}"


def number_note(build: Build, sheet: PlannedSheet, placed: PlacedPart, why: bool = True) -> str:
    """What a copy from the cutter lacks, its number or a seam's, and why; empty when nobody asked for it."""
    written = labels_on(build, sheet, placed)
    without = written.no_number not in ("", BY_HAND, NOT_ASKED)
    notes = [f"not numbered: {written.no_number}" if why else "not numbered"] if without else []
    if written.no_seams:
        notes.append(f"no room for seam {' and '.join(map(str, written.no_seams))}")
    return ", ".join(notes)


def layers_bytes(build: Build, jobs: Sequence[Job]) -> bytes:
    """``layers.csv``: what each job's layers do, in the order in which they run."""
    unit, per = build.unit, mm_per(build.unit)
    head = ("job", "order", "layer", "what", f"this pass ({unit})", f"depth after it ({unit})")
    rows: list[Sequence[Cell]] = [
        (*head, "share of a full pass (%)", f"area ({unit}2)", f"line pitch ({unit})")
    ]
    for job in jobs:
        used = {stroke.layer for stroke in job.strokes}
        passes: dict[str, tuple[Cell, ...]] = {}
        if job.etching is not None:
            steps, areas = job.etching.steps, job.etching.areas
            for place, (depth, rise, area) in enumerate(
                zip(steps.depths, steps.rises, areas, strict=True), start=1
            ):
                passes[pocket_layer(place)] = (
                    _fine(rise, per),
                    _fine(depth, per),
                    show_number(100.0 * steps.share, 1),
                    show_number(area / per**2, 1 if per == 1.0 else 3),
                    _fine(job.etching.pitch, per),
                )
        order = [layer for layer in running_order(job) if layer in used and layer != SHEET_LAYER]
        for place, layer in enumerate(order, start=1):
            rows.append(
                (job_file(job), place, layer, layer_task(layer), *passes.get(layer, ("", "", "", "", "")))
            )
    return csv_bytes(rows)


def folds_bytes(build: Build, jobs: Sequence[Job]) -> bytes:
    """``folds.csv``: each different groove with its sizes, for a laser and for a blade with a depth stop."""
    unit, per = build.unit, mm_per(build.unit)
    rows: list[Sequence[Cell]] = [
        (
            "material",
            f"thickness ({unit})",
            "kind",
            "angle (deg)",
            "made by",
            f"skin ({unit})",
            f"depth stop ({unit})",
            f"mouth ({unit})",
            "angle between walls (deg)",
            "wall leans (deg)",
            f"blade out ({unit})",
            "passes",
            f"widths of the passes ({unit})",
            "on each copy of",
        )
    ]
    for use in grooves_in(build, jobs):
        steps, groove = use.steps, use.groove
        rows.append(
            (
                use.material,
                _length(use.thickness, per),
                groove.kind.value,
                show_number(math.degrees(groove.angle), 2),
                " and ".join(
                    word for word, used in (("etching", use.etched), ("blade", use.by_blade)) if used
                ),
                _fine(steps.skin, per),
                _fine(steps.depth, per),
                _fine(groove.mouth, per),
                show_number(math.degrees(groove.angle), 2),
                show_number(math.degrees(use.wall), 2),
                _fine(use.blade_out, per),
                steps.count if use.etched else "",
                "; ".join(_fine(width, per) for width in groove.widths) if use.etched else "",
                "; ".join(f"{name} ({count})" for name, count in use.parts.items()),
            )
        )
    return csv_bytes(rows)


def show_turn(turn: float) -> str:
    """A turn in degrees, 0 to 360, as a person writes it."""
    degrees = round(math.degrees(turn) % 360.0, 1)
    return show_number(0.0 if degrees >= 360.0 else degrees, 1)


def _length(mm: float, per: float) -> str:
    return show_number(mm / per, 1 if per == 1.0 else 3)


def _fine(mm: float, per: float) -> str:
    return show_number(mm / per, 3 if per == 1.0 else 5)


def _money(value: float) -> str:
    return f"{value:.2f}"


def csv_bytes(rows: Iterable[Sequence[Cell]]) -> bytes:
    """Rows as a file that a spreadsheet opens; no cell of it is a formula."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    for row in rows:
        # Our own numbers are never negative, so they pass as they are.
        writer.writerow([safe_cell(str(cell)) for cell in row])
    return text.getvalue().encode("utf-8-sig")
