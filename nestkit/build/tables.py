"""The tables of a build file, as pydantic models: keys, kinds of values, ranges, defaults.

Values here are as the maker wrote them, in the build file's own units; None is a key left out, whose
default (`model`) is in millimetres whatever the build's units. The descriptions go into
the JSON Schema (`json_schema`), from which editors complete a build file.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, ConfigDict, Discriminator, Field, Tag
from pydantic_core import PydanticCustomError

from nestkit.build.base_tables import (
    Count,
    CutCount,
    FileName,
    Length,
    LengthOrZero,
    Name,
    PartBase,
    TabCount,
    Table,
    TabLength,
)
from nestkit.build.model import CutterKind, DxfVersion, PaperName, TemplateChoice
from nestkit.build.pattern_tables import (
    PATTERN_TABLES,
    BoxTable,
    ConeTable,
    DomeTable,
    EdgeStripTable,
    PrismTable,
    PyramidTable,
    RidgeTable,
    RingTable,
    StackTable,
    WrapTable,
)
from nestkit.drawings import parse_rule

_LINE_PATTERN = r"^(cut|mark|guide|(fold|bevel) [0-9]{1,3}(\.[0-9]{1,6})?)$"

Size = Annotated[list[Length], Field(min_length=2, max_length=2)]
Speed = Annotated[float, Field(ge=0.001, le=100_000)]
Falloff = Annotated[float, Field(ge=0, le=10)]
WidthFactor = Annotated[float, Field(ge=0.2, le=5)]
DrawingUnit = Literal["mm", "cm", "m", "in", "ft", "px", "pt", "pc"]


_FALLOFF = "How much n etched passes fall short of n times pass_depth, over n squared. In the build's units."
_WIDTH_FACTOR = "Widths of grooves are multiplied by it; more closes a fold farther."
_SPOT = "How much wider an etched area comes out than it is drawn. In the build's units."


def _check_line(value: str) -> str:
    try:
        parse_rule(value)
    except ValueError as error:
        raise PydanticCustomError("line", "{why}", {"why": str(error)}) from None
    return value


LineRule = Annotated[str, Field(pattern=_LINE_PATTERN), AfterValidator(_check_line)]


class FinishedTable(Table):
    """The finished length of a named part, in place of a scale."""

    part: Name = Field(description="Name of the part whose finished length is known.")
    length: Length = Field(
        description="The longer side of that part's bounding box, as drawn, at finished size. "
        "In the build's units."
    )


class BuildTable(Table):
    """What the whole build is."""

    model_config = ConfigDict(json_schema_extra={"not": {"required": ["scale", "finished"]}})

    name: Name = Field(description="Name of the whole prop.")
    units: Literal["mm", "in"] = Field(
        "mm", description="What the lengths in this file are in: millimetres or inches. Reports speak it too."
    )
    drawings: FileName = Field(
        ".", description="Folder of the drawings, seen from this file. Left out: beside this file."
    )
    join: LengthOrZero | None = Field(
        None,
        description="Loose ends in a drawing that lie no farther apart than this are joined. "
        "In the build's units, measured in the drawing, before scaling. Left out: 0.1 mm.",
    )
    scale: Annotated[float, Field(ge=0.001, le=1000)] = Field(
        1.0,
        description="Finished size divided by drawn size. Thickness, hardware, gap, margin and kerf never "
        "scale. Give this or finished, not both.",
    )
    finished: FinishedTable | None = Field(
        None,
        description="The finished length of one part, from which the scale follows. "
        "Give this or scale, not both.",
    )


class LayoutTable(Table):
    """How parts lie on a sheet."""

    gap: LengthOrZero | None = Field(
        None, description="Foam kept between two parts. In the build's units. Left out: 2 mm."
    )
    margin: LengthOrZero | None = Field(
        None, description="Rim of a sheet kept free. In the build's units. Left out: 5 mm."
    )


class CutterTable(Table):
    """The machine, or the hand, that cuts."""

    kind: CutterKind = Field(description="What cuts: laser, knife (a machine with a knife) or hand.")
    bed: Size | None = Field(
        None,
        description="Width and height of what one job may fill. In the build's units. "
        "Only cutting by hand can do without.",
    )
    kerf: Annotated[float, Field(ge=0, le=20)] | None = Field(
        None,
        description="Width burnt or cut away; outlines grow by half of it. In the build's units. "
        "Left out: 0.",
    )
    cut_speed: Speed | None = Field(
        None, description="Speed of a cut through the foam, units per second. Left out: 20 mm/s."
    )
    travel_speed: Speed | None = Field(
        None, description="Speed between two cuts, units per second. Left out: 300 mm/s."
    )
    mark_speed: Speed | None = Field(
        None, description="Speed of a mark, units per second. Left out: 100 mm/s."
    )
    acceleration: Annotated[float, Field(ge=0.01, le=1_000_000)] | None = Field(
        None,
        description="How fast the machine gains and loses speed, units per second squared; for estimates of "
        "time. Left out: as if it were always at full speed.",
    )
    start_time: Annotated[float, Field(ge=0, le=60)] = Field(
        0.0, description="What it takes to begin a path, seconds: to pierce the foam, or to lower the knife."
    )
    time_factor: Annotated[float, Field(ge=0.1, le=10)] = Field(
        1.0, description="What estimates of time are multiplied by: measured time over estimated time."
    )
    pass_depth: Length | None = Field(
        None, description="How deep one etched pass goes. In the build's units. Left out: 0.8 mm."
    )
    skin: LengthOrZero | None = Field(
        None, description="Foam left uncut under a fold. In the build's units. Left out: 0.6 mm."
    )
    falloff: Falloff | None = Field(None, description=_FALLOFF + " Left out: 0.")
    width_factor: WidthFactor = Field(1.0, description=_WIDTH_FACTOR)
    spot: Annotated[float, Field(ge=0, le=5)] | None = Field(None, description=_SPOT + " Left out: 0.")
    etch_speed: Speed | None = Field(
        None, description="Speed along a line of an etched area, units per second. Left out: 200 mm/s."
    )
    pitch: Annotated[float, Field(ge=0.001, le=5)] | None = Field(
        None,
        description="Distance between two lines of an etched area. In the build's units. Left out: 0.1 mm.",
    )
    area_mode: bool = Field(
        True,
        description="Whether the cutter's program fills closed areas. If not, the lines that fill them stand "
        "in the cutter files.",
    )
    hatch_angle: Annotated[float, Field(ge=-180, le=180)] = Field(
        0.0, description="Direction of those lines, degrees counter-clockwise from the bed's x axis."
    )
    dxf: DxfVersion = Field(
        "R2010",
        description="Which DXF the cutter's program reads: R2010, or R12 for old controllers.",
    )
    tabs: TabCount = Field(
        0,
        description="How many holding tabs the outline of each small part gets: short stretches that stay "
        "uncut, so that it can't fall or tilt. Never at corners or folds.",
    )
    tab_length: TabLength | None = Field(
        None, description="How long each tab is. In the build's units. Left out: 0.8 mm."
    )
    tabs_up_to: LengthOrZero | None = Field(
        None,
        description="Parts of which no side is longer than this are small. In the build's units. "
        "Left out: 60 mm.",
    )
    smallest: LengthOrZero | None = Field(
        None,
        description="Necks and holes narrower than this are told when sizes are compared. In the build's "
        "units. Left out: half the foam's thickness, or three kerfs if that is more.",
    )
    most_cuts: CutCount | None = Field(
        None,
        description="A sheet that is larger than the bed is cut into blanks by hand, with no more straight "
        "cuts than this; parts that fit no such blank are cut by hand. Left out: as many as it takes.",
    )


class TemplatesTable(Table):
    """Paper templates, true to size, for parts that are cut by hand."""

    paper: PaperName | None = Field(
        None, description="What they are printed on. Left out: A4, or letter when units are inches."
    )
    margin: LengthOrZero | None = Field(
        None,
        description="Rim of the page that the printer leaves white. In the build's units. Left out: 10 mm.",
    )
    overlap: LengthOrZero | None = Field(
        None,
        description="What two pages that are taped together share. In the build's units. Left out: 10 mm.",
    )
    which: TemplateChoice = Field(
        "hand", description="Templates for the parts that are cut by hand, for all parts, or none."
    )


class LabelsTable(Table):
    """What is written on the copies, not through: on the face under the cutter, where it won't be seen."""

    numbers: bool = Field(True, description="Whether each copy carries its part's number from the part list.")
    seams: bool = Field(
        True, description="Whether edges of patterns that are glued together carry their seam's number."
    )
    height: Length | None = Field(
        None,
        description="Height of a part's digits; smaller where there is less room. In the build's units. "
        "Left out: 6 mm.",
    )


class FoamTable(Table):
    """What the cutter does to one foam, where that differs from [cutter]; 'nestkit calibrate' writes it."""

    material: Name | None = Field(
        None, description="Material of the sheet. Left out: that of the first sheet that thick."
    )
    thickness: Length = Field(description="Thickness of the sheet. In the build's units.")
    kerf: Annotated[float, Field(ge=0, le=20)] | None = Field(
        None, description="Width burnt or cut away. In the build's units."
    )
    pass_depth: Length | None = Field(
        None, description="How deep the first etched pass goes. In the build's units."
    )
    falloff: Falloff | None = Field(None, description=_FALLOFF)
    skin: LengthOrZero | None = Field(None, description="Foam left uncut under a fold. In the build's units.")
    width_factor: WidthFactor | None = Field(None, description=_WIDTH_FACTOR)
    spot: Annotated[float, Field(ge=0, le=5)] | None = Field(None, description=_SPOT)


class SheetTable(Table):
    """One kind of sheet: as it is sold, or as it lies in the shop."""

    name: Name | None = Field(
        None, description="What lists call it. Left out: from material, thickness and size."
    )
    material: Name = Field("eva", description="Name of the material; upper and lower case are the same.")
    thickness: Length = Field(description="Thickness as measured; it never scales. In the build's units.")
    size: Size = Field(description="Width and height. In the build's units.")
    price: Annotated[float, Field(ge=0, le=1_000_000)] = Field(
        0.0,
        description="Price of one bought sheet, or of one pack where pack is given, in any one currency. "
        "Sheets in the shop cost nothing.",
    )
    pack: Annotated[int, Field(ge=1, le=1000)] = Field(
        1, description="How many sheets are sold together; the price is that of all of them."
    )
    in_shop: Count = Field(0, description="How many are in the shop.")
    buy: bool = Field(True, description="Whether more can be bought, in any number.")
    density: Annotated[float, Field(ge=5, le=3000)] | None = Field(
        None,
        description="Density in kg per cubic metre, whatever the build's units; from it follows the prop's "
        "weight. Left out: a usual one where the material is known.",
    )


class HardwareTable(Table):
    """A rod, tube or ball in the prop: a real size that never scales."""

    diameter: Length = Field(description="Outer diameter. In the build's units.")
    inner_diameter: Length | None = Field(
        None, description="Inner diameter, for a tube. In the build's units."
    )
    length: Length | None = Field(None, description="Length. In the build's units.")


class AssemblyTable(Table):
    """Parts that are glued together."""

    name: Name = Field(description="Name by which parts say that they belong to it.")
    order: Annotated[int, Field(ge=-10_000, le=10_000)] = Field(
        0, description="Lower numbers are cut and glued first; equal ones in the order of this file."
    )


class PartTable(PartBase):
    """One flat piece of one thickness, in any number of copies."""

    source: FileName = Field(
        alias="from",
        description="Where it is drawn: 'file.svg#id-or-layer', or 'file.svg' when the whole drawing is "
        "one part.",
    )


def _kind_of_part(value: Any) -> str:
    """Which table a part is checked against; an unknown pattern is told as a mistake of a drawn part."""
    pattern = value.get("pattern") if isinstance(value, dict) else getattr(value, "pattern", None)
    return pattern if isinstance(pattern, str) and pattern in PATTERN_TABLES else "drawn"


AnyPart = Annotated[
    Annotated[PartTable, Tag("drawn")]
    | Annotated[ConeTable, Tag("cone")]
    | Annotated[DomeTable, Tag("dome")]
    | Annotated[RingTable, Tag("ring")]
    | Annotated[WrapTable, Tag("wrap")]
    | Annotated[EdgeStripTable, Tag("edge_strip")]
    | Annotated[RidgeTable, Tag("ridge")]
    | Annotated[StackTable, Tag("stack")]
    | Annotated[PrismTable, Tag("prism")]
    | Annotated[BoxTable, Tag("box")]
    | Annotated[PyramidTable, Tag("pyramid")],
    Discriminator(_kind_of_part),
]


class BuildFile(Table):
    """One whole prop: its parts, the sheets they are cut from, and what cuts them."""

    build: BuildTable = Field(description="The prop.")
    layout: LayoutTable = Field(
        default_factory=LayoutTable.model_construct, description="How parts lie on a sheet."
    )
    cutter: CutterTable = Field(description="The machine, or the hand, that cuts.")
    templates: TemplatesTable = Field(
        default_factory=TemplatesTable.model_construct, description="Paper templates."
    )
    labels: LabelsTable = Field(
        default_factory=LabelsTable.model_construct, description="What is written on the copies."
    )
    lines: dict[Annotated[str, Field(min_length=1, max_length=200)], LineRule] = Field(
        {},
        description="What a drawn line is for, by its layer's name or its stroke colour (#rrggbb): "
        "cut, mark, guide (left out), 'fold 60' or 'bevel 45' with the angle in degrees. "
        "A layer or group whose name ends in one of these words needs no row here.",
    )
    drawing_units: dict[FileName, DrawingUnit] = Field(
        {}, description="The unit of drawings that name none, by file name as parts write it."
    )
    hardware: dict[Name, HardwareTable] = Field(
        {}, description="Rods, tubes and balls in the prop, by name. They never scale."
    )
    sheet: Annotated[list[SheetTable], Field(min_length=1, max_length=1000)] = Field(
        description="Sheets in the shop and sheets that can be bought."
    )
    assembly: Annotated[list[AssemblyTable], Field(max_length=1000)] = Field(
        [], description="Which parts are glued together, and in which order."
    )
    foam: Annotated[list[FoamTable], Field(max_length=1000)] = Field(
        [], description="What the cutter does to single foams, where that differs from [cutter]."
    )
    part: Annotated[list[AnyPart], Field(min_length=1, max_length=5000)] = Field(
        description="The parts of the prop."
    )
