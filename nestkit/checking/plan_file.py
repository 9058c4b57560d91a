"""plan.json as it was written, read without any of the code that wrote it."""

from __future__ import annotations

import json
import math
from pathlib import Path, PurePosixPath
from typing import Any

from nestkit.checking.fields import Fields
from nestkit.checking.limits import LARGEST_FILE
from nestkit.checking.plan_entries import (
    Etching,
    GroupEntry,
    LabelEntry,
    LeftOut,
    LeftoverEntry,
    ListedFold,
    ListedPart,
    PlacedCopy,
    PlanFile,
    SeamEntry,
    SheetEntry,
    TemplatesEntry,
)
from nestkit.errors import InputError, Problem

PLAN_NAME = "plan.json"
FORMAT = "nestkit-plan"
VERSION = 1

#: More problems than this are not listed one by one.
MOST_PROBLEMS = 100


def read_plan(folder: Path) -> PlanFile:
    """Read ``plan.json`` of a folder that ``nestkit plan`` wrote.

    Raises
    ------
    InputError
        When there is no plan there, or it is unreadable, not JSON, of another format or version, nested
        too deep, or malformed; then with everything that is wrong with it.
    """
    data = _load(folder)
    problems: list[Problem] = []
    plan = _plan(Fields(data, "", problems))
    if problems:
        shown = problems[:MOST_PROBLEMS]
        if len(problems) > len(shown):
            rest = f"{len(problems) - len(shown)} more problems are not listed"
            shown.append(Problem(PLAN_NAME, rest, "Write the plan again with nestkit plan"))
        raise InputError(shown)
    return plan


def _load(folder: Path) -> dict[str, Any]:
    again, which = "Write the plan again with nestkit plan", "Name the folder that nestkit plan wrote"
    if not folder.is_dir():
        raise InputError.one(str(folder), "there is no such folder", which)
    file = folder / PLAN_NAME
    if not file.is_file():
        raise InputError.one(str(folder), f"there is no {PLAN_NAME} in it", which)
    try:
        if file.stat().st_size > LARGEST_FILE:
            raise InputError.one(str(file), "the file is too large to be a plan", again)
        data = json.loads(file.read_bytes().decode("utf-8-sig"), parse_constant=_no_constant)
    except OSError as error:
        raise InputError.one(str(file), f"the file can't be read ({error.strerror})", again) from None
    except RecursionError:
        raise InputError.one(str(file), "the file is nested too deep to be a plan", again) from None
    except InputError:
        raise
    except ValueError as error:
        raise InputError.one(str(file), f"the file is not JSON ({error})", again) from None
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise InputError.one(str(file), f'this is no plan: "format" is not "{FORMAT}"', again)
    version = data.get("version")
    if type(version) is not int or version != VERSION:
        raise InputError.one(
            str(file),
            f"the plan has version {version!r}, and this nestkit reads version {VERSION}",
            "Check it with the nestkit that wrote it, or write it again with this one",
        )
    return data


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _plan(top: Fields) -> PlanFile:
    cutter, layout = top.inner("cutter"), top.inner("layout")
    listed = [(entry, _listed(entry)) for entry in top.objects("parts")]
    parts: dict[str, ListedPart] = {}
    for entry, part in listed:
        if part.name in parts:
            entry.note("part", f"the name '{part.name}' is there twice")
        parts[part.name] = part
    jobs: set[str] = set()
    sheets = []
    for entry in top.objects("sheets"):
        sheet = _sheet(entry)
        if sheet.job in jobs:
            entry.note("job", f"two sheets name the file '{sheet.job}'")
        jobs.add(sheet.job)
        sheets.append(sheet)
    return PlanFile(
        cutter=cutter.choice("kind", ("laser", "knife", "hand")),
        bed=cutter.pair_or_null("bed_mm"),
        kerf=cutter.number("kerf_mm", at_least=0.0),
        gap=layout.number("gap_mm", at_least=0.0),
        margin=layout.number("margin_mm", at_least=0.0),
        parts=parts,
        groups=tuple(_group(entry) for entry in top.objects("groups")),
        sheets=tuple(sheets),
        left_out=tuple(
            LeftOut(entry.text("part"), entry.whole("copy", at_least=1), entry.text("why"))
            for entry in top.objects("unplaced")
        ),
        templates=_templates(top.inner("templates")) if top.has("templates") else None,
        dxf=cutter.choice("dxf", ("R2010", "R12")) if cutter.has("dxf") else "R2010",
        build=top.text("build"),
        unit="in" if top.choice("unit", ("mm", "in")) == "in" else "mm",
        shop=top.text("shop") if top.has("shop") else "",
        leftovers=tuple(_leftover(entry, len(sheets)) for entry in top.objects("leftovers"))
        if top.has("leftovers")
        else (),
        seams=tuple(_seam(entry) for entry in top.objects("seams")) if top.has("seams") else (),
    )


def _seam(entry: Fields) -> SeamEntry:
    second = (entry.text("second"),) if entry.has("second") else ()
    return SeamEntry(
        number=entry.whole("number", at_least=1),
        parts=(entry.text("first"), *second),
        edges=tuple((one.text("part"), one.whole("count", at_least=1)) for one in entry.objects("edges")),
    )


def _leftover(entry: Fields, sheets: int) -> LeftoverEntry:
    sheet = entry.whole("sheet", at_least=1) if entry.has("sheet") else None
    if sheet is not None and sheet > sheets:
        entry.note("sheet", f"the plan has no sheet {sheet}")
    return LeftoverEntry(
        sheet=sheet,
        stock=entry.text("stock"),
        stock_number=entry.whole("stock_number", at_least=1),
        material=entry.text("material"),
        thickness=entry.number("thickness_mm", at_least=0.0),
        outline=entry.points("outline_mm"),
        holes=entry.rings("holes_mm"),
    )


def _templates(entry: Fields) -> TemplatesEntry:
    return TemplatesEntry(
        which=entry.choice("which", ("hand", "all")),
        pages=entry.whole("pages", at_least=1),
        parts=(*entry.texts("parts"), *entry.texts("left_out")),
    )


def _listed(entry: Fields) -> ListedPart:
    tabs = entry.inner("tabs") if entry.has("tabs") else None
    return ListedPart(
        name=entry.text("part"),
        material=entry.text("material"),
        thickness=entry.number("thickness_mm", at_least=0.0),
        copies=entry.whole("copies"),
        mirrored_pairs=entry.flag("mirrored_pairs"),
        width=entry.number("width_mm", at_least=0.0),
        height=entry.number("height_mm", at_least=0.0),
        area=entry.number("area_mm2", at_least=0.0),
        holes=entry.whole("holes"),
        lines=entry.whole("lines"),
        marks=entry.whole("marks") if entry.has("marks") else None,
        number=entry.whole("number", at_least=1) if entry.has("number") else None,
        folds=tuple(_fold(one) for one in entry.objects("folds")) if entry.has("folds") else (),
        tabs=tabs.whole("count", at_least=1) if tabs else 0,
        tab_length=tabs.number("length_mm", at_least=0.0) if tabs else 0.0,
    )


def _fold(entry: Fields) -> ListedFold:
    degrees = entry.number("angle_deg", at_least=0.0)
    kind = entry.choice("kind", ("fold", "bevel"))
    if degrees >= (90.0 if kind == "bevel" else 180.0):
        entry.note("angle_deg", "no foam folds that far")
        degrees = 0.0
    return ListedFold(
        kind=kind,
        angle=math.radians(degrees),
        closed=entry.flag("closed"),
        points=entry.line("path_mm"),
        mouth=entry.number("mouth_mm", at_least=0.0),
        widths=entry.numbers("widths_mm"),
    )


def _etching(entry: Fields) -> Etching:
    return Etching(
        skin=entry.number("skin_mm", at_least=0.0),
        depth=entry.number("depth_mm", at_least=0.0),
        width_factor=entry.number("width_factor", at_least=0.0),
        spot=entry.number("spot_mm", at_least=0.0),
        hatched=entry.flag("hatched"),
        pitch=entry.number("pitch_mm", at_least=0.0),
        passes=tuple(
            (one.text("layer"), one.number("depth_mm", at_least=0.0)) for one in entry.objects("passes")
        ),
    )


def _sheet(entry: Fields) -> SheetEntry:
    job = entry.text("job")
    path = PurePosixPath(job)
    if job and (len(path.parts) != 2 or path.parts[0] != "jobs" or path.suffix != ".dxf" or "\\" in job):
        entry.note("job", f"'{job}' is no name of the kind jobs/NAME.dxf")
    return SheetEntry(
        stock=entry.text("stock"),
        stock_number=entry.whole("stock_number", at_least=1),
        bought=entry.flag("bought"),
        blank_origin=entry.pair_or_null("blank_origin_mm"),
        material=entry.text("material"),
        thickness=entry.number("thickness_mm", at_least=0.0),
        outline=entry.points("outline_mm"),
        holes=entry.rings("holes_mm"),
        how=entry.choice("how", ("laser", "knife", "hand")),
        fill=entry.number("fill", at_least=0.0),
        job=job,
        cut_length=entry.number("cut_length_mm", at_least=0.0),
        placed=tuple(_placed(one) for one in entry.objects("parts")),
        kerf=entry.number("kerf_mm", at_least=0.0) if entry.has("kerf_mm") else None,
        etching=_etching(entry.inner("etching")) if entry.has("etching") else None,
        piece=entry.whole("piece", at_least=1) if entry.has("piece") else None,
        kept=entry.text("kept") if entry.has("kept") else "",
    )


def _placed(entry: Fields) -> PlacedCopy:
    return PlacedCopy(
        part=entry.text("part"),
        copy=entry.whole("copy", at_least=1),
        x=entry.number("x_mm"),
        y=entry.number("y_mm"),
        turn=math.radians(entry.number("turn_deg")),
        mirrored=entry.flag("mirrored"),
        outline=entry.points("outline_mm"),
        holes=entry.rings("holes_mm"),
        labels=tuple(_label(one) for one in entry.objects("labels")) if entry.has("labels") else None,
        no_number=entry.text("no_number") if entry.has("no_number") else "",
        no_seams=entry.wholes("no_seams") if entry.has("no_seams") else (),
    )


def _label(entry: Fields) -> LabelEntry:
    return LabelEntry(
        text=entry.text("text"),
        x=entry.number("x_mm"),
        y=entry.number("y_mm"),
        turn=math.radians(entry.number("turn_deg")),
        height=entry.number("height_mm", at_least=0.0),
    )


def _group(entry: Fields) -> GroupEntry:
    return GroupEntry(
        material=entry.text("material"),
        thickness=entry.number("thickness_mm", at_least=0.0),
        parts=entry.whole("parts"),
        sheets_used=entry.whole("sheets_used"),
        sheets_at_least=entry.whole("sheets_at_least"),
        proven=entry.flag("proven"),
        waste=entry.number("waste"),
        cost=entry.number("cost", at_least=0.0),
        cost_at_least=entry.number("cost_at_least", at_least=0.0),
        unused=_counts(entry, "unused"),
        to_buy=_counts(entry, "to_buy"),
        from_shop=_counts(entry, "from_shop"),
        leftover=entry.number("leftover", at_least=0.0) if entry.has("leftover") else None,
    )


def _counts(entry: Fields, key: str) -> tuple[tuple[str, int], ...]:
    return tuple((one.text("stock"), one.whole("count")) for one in entry.objects(key))
