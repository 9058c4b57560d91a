"""Checks that need more than one value of a build file: names that must be there, be new, or fit."""

from __future__ import annotations

from collections.abc import Sequence

from nestkit.build.convert import USUAL_MARGIN, in_mm, material_of
from nestkit.build.draft import Draft
from nestkit.build.mistakes import Mistakes, listed, nearest
from nestkit.build.model import Sheet, same_thickness
from nestkit.build.tables import PartTable
from nestkit.units import Unit, mm_per, show_length

#: A bed with a shorter side is a slip, such as metres for millimetres, mm.
SMALLEST_BED = 50.0
#: Margins and overlaps that leave room on a page and hold pages together, least and most, mm.
PAPER_MARGINS = (0.0, 25.0)
OVERLAPS = (5.0, 30.0)
#: Heights of labels that can be read and drawn, mm (common practice, no source).
LABEL_HEIGHTS = (1.5, 100.0)


def cross_check(draft: Draft, sheets: Sequence[Sheet], mistakes: Mistakes) -> None:
    """Adds to ``mistakes`` what does not fit together; drawings are looked at elsewhere.

    Parameters
    ----------
    draft : Draft
    sheets : sequence of Sheet
        As `convert.sheets_of` makes them from the draft.
    mistakes : Mistakes
    """
    _check_names(draft, mistakes)
    _check_scale(draft, mistakes)
    _check_cutter(draft, mistakes)
    _check_ranges(draft, mistakes)
    _check_hardware(draft, mistakes)
    _check_sheets(draft, sheets, mistakes)
    _check_assemblies(draft, mistakes)
    _check_pairs(draft, mistakes)
    _check_foams(draft, sheets, mistakes)
    if draft.sure("part"):
        for index in range(len(draft.file.part)):
            find_sheet(draft, index, sheets, mistakes)


def find_sheet(draft: Draft, index: int, sheets: Sequence[Sheet], mistakes: Mistakes) -> Sheet | None:
    """The first sheet with the material and thickness of part ``index``.

    None when there is none, which goes to ``mistakes`` unless a mistake elsewhere may be the cause.
    """
    sheets_sure = draft.sure("sheet") and all(
        draft.sure("sheet", i, key) for i in range(len(sheets)) for key in ("material", "thickness")
    )
    if not (draft.sure("part", index, "thickness") and draft.sure("part", index, "material") and sheets_sure):
        return None
    part, unit = draft.file.part[index], draft.unit
    thickness = part.thickness * mm_per(unit)
    thick = [sheet for sheet in sheets if same_thickness(sheet.thickness, thickness)]
    named = f"{part.thickness:.6g} {unit} thick"
    if part.material is None:
        materials = sorted({sheet.material for sheet in thick})
        if len(materials) > 1:
            mistakes.add(
                ("part", index),
                f"sheets {named} come in several materials: {listed(materials)}",
                f'Say which, for example material = "{materials[0]}"',
            )
            return None
        if not thick:
            mistakes.add(
                ("part", index, "thickness"),
                f"no sheet is {named}",
                f"There are sheets of {_thicknesses(sheets, unit)}",
            )
        return thick[0] if thick else None
    material = material_of(part.material)
    of_material = [sheet for sheet in sheets if sheet.material == material]
    fitting = [sheet for sheet in thick if sheet.material == material]
    if not of_material:
        materials = sorted({sheet.material for sheet in sheets})
        mistakes.add(
            ("part", index, "material"),
            f"no sheet is of '{material}'",
            nearest(material, materials) or f"There are sheets of {listed(materials)}",
        )
    elif not fitting:
        mistakes.add(
            ("part", index, "thickness"),
            f"no sheet of '{material}' is {named}",
            f"There are sheets of {_thicknesses(of_material, unit)}",
        )
    return fitting[0] if fitting else None


def _thicknesses(sheets: Sequence[Sheet], unit: Unit) -> str:
    numbers = dict.fromkeys(f"{t / mm_per(unit):.6g}" for t in sorted(sheet.thickness for sheet in sheets))
    return f"{', '.join(numbers)} {unit}"


def _check_names(draft: Draft, mistakes: Mistakes) -> None:
    sections = {
        "part": [part.name for part in draft.file.part],
        "assembly": [assembly.name for assembly in draft.file.assembly],
    }
    for section, names in sections.items():
        first: dict[str, int] = {}
        for index, name in enumerate(names):
            if not draft.sure(section, index, "name"):
                continue
            if name in first:
                mistakes.add(
                    (section, index, "name"),
                    f"'{name}' is the name of {section}[{first[name] + 1}] already",
                    "Give each its own name",
                )
            first.setdefault(name, index)


def _check_scale(draft: Draft, mistakes: Mistakes) -> None:
    build = draft.file.build
    if {"scale", "finished"} <= build.model_fields_set:
        mistakes.add(
            ("build", "finished"),
            "scale and finished are both given, and each of them sets the size",
            "Leave one of them out",
        )
    if build.finished is None or not draft.sure("part"):
        return
    names = [part.name for part in draft.file.part]
    names_sure = all(draft.sure("part", index, "name") for index in range(len(names)))
    if build.finished.part not in names and names_sure:
        mistakes.add(
            ("build", "finished", "part"),
            f"there is no part '{build.finished.part}'",
            nearest(build.finished.part, names) or f"The parts are {listed(names)}",
        )
    elif build.finished.part in names:
        part = draft.file.part[names.index(build.finished.part)]
        if not isinstance(part, PartTable):
            mistakes.add(
                ("build", "finished", "part"),
                f"'{part.name}' is a pattern, which has no drawn length",
                "Name a drawn part, or give scale",
            )


def _check_cutter(draft: Draft, mistakes: Mistakes) -> None:
    cutter = draft.file.cutter
    if (
        cutter.kind != "hand"
        and cutter.bed is None
        and draft.sure("cutter", "bed")
        and draft.sure("cutter", "kind")
    ):
        mistakes.add(
            ("cutter", "bed"),
            f"is missing; a {cutter.kind} needs one",
            "Add it: its width and height, for example bed = [900, 600]",
        )
    unit = draft.file.build.units
    if cutter.bed is not None and draft.sure("cutter", "bed") and draft.sure("build", "units"):
        least = min(cutter.bed) * mm_per(unit)
        if least < SMALLEST_BED:
            mistakes.add(
                ("cutter", "bed"),
                f"is {show_length(least, unit)} on one side, less than any cutter's",
                f"Write it in {'inches' if unit == 'in' else 'millimetres'}, width and height",
            )


def _check_ranges(draft: Draft, mistakes: Mistakes) -> None:
    unit = draft.file.build.units
    if not draft.sure("build", "units"):
        return
    paper, labels = draft.file.templates, draft.file.labels
    for table, key, value, least, most, why in (
        (
            "templates",
            "margin",
            paper.margin,
            *PAPER_MARGINS,
            f"A printer leaves {_span(3.0, 15.0, unit)} white",
        ),
        (
            "templates",
            "overlap",
            paper.overlap,
            *OVERLAPS,
            f"{show_length(10.0, unit)} is enough to tape two pages together",
        ),
        (
            "labels",
            "height",
            labels.height,
            *LABEL_HEIGHTS,
            f"{show_length(6.0, unit)} can be read at arm's length",
        ),
    ):
        if value is None or not draft.sure(table, key):
            continue
        if not least - 1e-9 <= value * mm_per(unit) <= most + 1e-9:
            mistakes.add(
                (table, key),
                f"{show_length(value * mm_per(unit), unit)} lies outside {_span(least, most, unit)}",
                why,
            )


def _span(least: float, most: float, unit: Unit) -> str:
    return f"{show_length(least, unit)} to {show_length(most, unit)}"


def _check_hardware(draft: Draft, mistakes: Mistakes) -> None:
    for name, item in draft.file.hardware.items():
        known = draft.sure("hardware", name, "diameter")
        if known and item.inner_diameter is not None and item.inner_diameter >= item.diameter:
            mistakes.add(
                ("hardware", name, "inner_diameter"),
                f"{item.inner_diameter:g} is not less than the diameter, {item.diameter:g}",
                "The diameter is the outer one",
            )


def _check_sheets(draft: Draft, sheets: Sequence[Sheet], mistakes: Mistakes) -> None:
    if not draft.sure("sheet"):
        return
    margin = in_mm(draft.file.layout.margin, draft.unit, USUAL_MARGIN)
    margin_sure = draft.sure("layout", "margin") and draft.sure("build", "units")
    first: dict[str, int] = {}
    for index, sheet in enumerate(sheets):
        if margin_sure and draft.sure("sheet", index, "size") and 2 * margin >= min(sheet.size):
            mistakes.add(
                ("sheet", index, "size"),
                f"a margin of {show_length(margin, draft.unit)} on all sides leaves nothing of this sheet",
                "Check the size, its unit and the margin under [layout]",
            )
        if not all(draft.sure("sheet", index, key) for key in ("name", "material", "thickness", "size")):
            continue
        if sheet.name in first:
            mistakes.add(
                ("sheet", index),
                f"is called '{sheet.name}' as sheet[{first[sheet.name] + 1}] is",
                "Put both into one table, or give this one another name",
            )
        first.setdefault(sheet.name, index)


def _check_foams(draft: Draft, sheets: Sequence[Sheet], mistakes: Mistakes) -> None:
    if not draft.sure("foam") or not draft.sure("sheet") or not draft.sure("build", "units"):
        return
    unit, seen = draft.unit, set[tuple[str, float]]()
    for index, foam in enumerate(draft.file.foam):
        if not (draft.sure("foam", index, "thickness") and draft.sure("foam", index, "material")):
            continue
        thickness = foam.thickness * mm_per(unit)
        fitting = [
            sheet
            for sheet in sheets
            if same_thickness(sheet.thickness, thickness)
            and (foam.material is None or sheet.material == material_of(foam.material))
        ]
        if not fitting:
            named = f"'{material_of(foam.material)}' " if foam.material else ""
            mistakes.add(
                ("foam", index, "thickness"),
                f"no sheet is of {named}{foam.thickness:.6g} {unit}",
                f"There are sheets of {_thicknesses(sheets, unit)}",
            )
            continue
        key = (fitting[0].material, fitting[0].thickness)
        if key in seen:
            mistakes.add(("foam", index), "this foam has a table already", "Put both into one")
        seen.add(key)


def _check_assemblies(draft: Draft, mistakes: Mistakes) -> None:
    tables = draft.file.assembly
    known = draft.sure("assembly") and all(draft.sure("assembly", i, "name") for i in range(len(tables)))
    if not known or not draft.sure("part"):
        return
    names = [table.name for table in tables]
    for index, part in enumerate(draft.file.part):
        if part.assembly is not None and part.assembly not in names:
            others = (
                f"The assemblies are {listed(names)}" if names else "Add an [[assembly]] table with that name"
            )
            mistakes.add(
                ("part", index, "assembly"),
                f"there is no assembly '{part.assembly}'",
                nearest(part.assembly, names) or others,
            )


def _check_pairs(draft: Draft, mistakes: Mistakes) -> None:
    for index, part in enumerate(draft.file.part):
        if part.mirrored_pairs and part.quantity % 2 and draft.sure("part", index, "quantity"):
            mistakes.add(
                ("part", index, "quantity"),
                f"mirrored pairs need an even quantity, and {part.quantity} is odd",
                f"Write quantity = {part.quantity + 1}, or leave mirrored_pairs out",
            )
