"""From the tables of a build file to the model: millimetres, radians, names of sheets."""

from __future__ import annotations

import math
from collections.abc import Sequence

from nestkit.build.base_tables import PartBase, TurnNames
from nestkit.build.model import (
    Assembly,
    Cutter,
    Foam,
    Hardware,
    Labels,
    Sheet,
    Templates,
    Turns,
    same_thickness,
)
from nestkit.build.tables import (
    AssemblyTable,
    CutterTable,
    FoamTable,
    HardwareTable,
    LabelsTable,
    SheetTable,
    TemplatesTable,
)
from nestkit.units import Unit, mm_per

#: Gap and margin when the build file gives none, mm.
USUAL_GAP = 2.0
USUAL_MARGIN = 5.0

_TURNS: dict[TurnNames, Turns] = {
    "any": Turns(None),
    "half": Turns((0.0, math.pi)),
    "quarter": Turns((0.0, math.pi / 2, math.pi, 3 * math.pi / 2)),
    "none": Turns((0.0,)),
}


def turns_of(part: PartBase) -> Turns:
    """The turns that a part may take, in radians."""
    if isinstance(part.turns, str):
        return _TURNS[part.turns]
    return Turns(tuple(sorted({math.radians(degrees % 360.0) for degrees in part.turns})))


def tab_length_of(part: PartBase, unit: Unit) -> float | None:
    """How long the part's holding tabs are, mm; None leaves it to the cutter's settings."""
    return None if part.tab_length is None else part.tab_length * mm_per(unit)


def in_mm(value: float | None, unit: Unit, default: float) -> float:
    """A length of the build file, or ``default`` (mm) when it was left out."""
    return default if value is None else value * mm_per(unit)


def cutter_of(table: CutterTable, unit: Unit) -> Cutter:
    """The cutter, in mm and mm/s."""
    usual = Cutter(kind=table.kind)
    return Cutter(
        kind=table.kind,
        bed=None if table.bed is None else (table.bed[0] * mm_per(unit), table.bed[1] * mm_per(unit)),
        kerf=in_mm(table.kerf, unit, usual.kerf),
        cut_speed=in_mm(table.cut_speed, unit, usual.cut_speed),
        travel_speed=in_mm(table.travel_speed, unit, usual.travel_speed),
        mark_speed=in_mm(table.mark_speed, unit, usual.mark_speed),
        acceleration=None if table.acceleration is None else table.acceleration * mm_per(unit),
        start_time=table.start_time,
        time_factor=table.time_factor,
        pass_depth=in_mm(table.pass_depth, unit, usual.pass_depth),
        skin=in_mm(table.skin, unit, usual.skin),
        falloff=in_mm(table.falloff, unit, usual.falloff),
        width_factor=table.width_factor,
        spot=in_mm(table.spot, unit, usual.spot),
        etch_speed=in_mm(table.etch_speed, unit, usual.etch_speed),
        pitch=in_mm(table.pitch, unit, usual.pitch),
        area_mode=table.area_mode,
        dxf=table.dxf,
        tabs=table.tabs,
        tab_length=in_mm(table.tab_length, unit, usual.tab_length),
        tabs_up_to=in_mm(table.tabs_up_to, unit, usual.tabs_up_to),
        hatch_angle=math.radians(table.hatch_angle),
        smallest=None if table.smallest is None else table.smallest * mm_per(unit),
        most_cuts=table.most_cuts,
    )


def templates_of(table: TemplatesTable, unit: Unit) -> Templates:
    """How paper templates are printed, in mm."""
    usual = Templates()
    return Templates(
        paper=table.paper or ("letter" if unit == "in" else usual.paper),
        margin=in_mm(table.margin, unit, usual.margin),
        overlap=in_mm(table.overlap, unit, usual.overlap),
        which=table.which,
    )


def labels_of(table: LabelsTable, unit: Unit) -> Labels:
    """What is written on the copies, in mm."""
    return Labels(table.numbers, table.seams, in_mm(table.height, unit, Labels().height))


def foams_of(tables: Sequence[FoamTable], sheets: Sequence[Sheet], unit: Unit) -> tuple[Foam, ...]:
    """What each foam has of its own, in mm; a material left out is that of the sheets as thick."""
    mm = mm_per(unit)
    found = []
    for table in tables:
        thickness = table.thickness * mm
        fitting = [sheet for sheet in sheets if same_thickness(sheet.thickness, thickness)]
        material = material_of(table.material) if table.material else fitting[0].material if fitting else ""
        own = {
            key: None if value is None else value * mm
            for key in ("kerf", "pass_depth", "falloff", "skin", "spot")
            for value in (getattr(table, key),)
        }
        found.append(Foam(material, thickness, width_factor=table.width_factor, **own))
    return tuple(found)


def material_of(name: str) -> str:
    """A material's name as it is compared and shown."""
    return name.lower()


def sheets_of(tables: Sequence[SheetTable], unit: Unit) -> tuple[Sheet, ...]:
    """The sheets, in mm.

    Thicknesses of one material that differ by no more than `SAME_THICKNESS` become the same number,
    so that everything later can compare them as they are.
    """
    mm = mm_per(unit)
    sheets: list[Sheet] = []
    for table in tables:
        material = material_of(table.material)
        thickness = table.thickness * mm
        for sheet in sheets:
            if sheet.material == material and same_thickness(sheet.thickness, thickness):
                thickness = sheet.thickness
                break
        width, height = table.size
        sheets.append(
            Sheet(
                name=table.name or f"{material} {thickness / mm:.6g} {unit} {width:.6g} x {height:.6g}",
                material=material,
                thickness=thickness,
                size=(width * mm, height * mm),
                price=table.price,
                in_shop=table.in_shop,
                buy=table.buy,
                density=table.density,
                pack=table.pack,
            )
        )
    return tuple(sheets)


def assemblies_of(tables: Sequence[AssemblyTable]) -> tuple[Assembly, ...]:
    """The assemblies, sorted by order, then by their place in the file."""
    return tuple(sorted((Assembly(t.name, t.order) for t in tables), key=lambda assembly: assembly.order))


def hardware_of(tables: dict[str, HardwareTable], unit: Unit) -> tuple[Hardware, ...]:
    """Rods, tubes and balls, in mm."""
    mm = mm_per(unit)

    def scaled(length: float | None) -> float | None:
        return None if length is None else length * mm

    return tuple(
        Hardware(name, table.diameter * mm, scaled(table.inner_diameter), scaled(table.length))
        for name, table in tables.items()
    )
