"""A build as the rest of the program sees it: checked, in millimetres and radians, at one scale."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path as FilePath
from typing import Literal

from nestkit.build.pattern_info import PatternInfo
from nestkit.errors import Finding
from nestkit.folds.steps import FoldSettings
from nestkit.geometry import Outline, Shape
from nestkit.units import Unit

CutterKind = Literal["laser", "knife", "hand"]
DxfVersion = Literal["R2010", "R12"]
PaperName = Literal["A4", "A3", "letter"]
TemplateChoice = Literal["hand", "all", "none"]


@dataclass(frozen=True, slots=True)
class Turns:
    """The turns that a part may take on the sheet.

    Parameters
    ----------
    angles : tuple of float, radians, or None
        The allowed turns, sorted, each in [0, 2 pi); None when any turn is allowed.
    """

    angles: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class Cutter:
    """The machine, or the hand, that cuts.

    Lengths mm, speeds mm/s, acceleration mm/s^2 (None: always at full speed), start_time s. `bed` is width
    and height, or None when nothing limits it (hand). Areas are etched in lines at `pitch`; without
    `area_mode` those lines stand in the cutter files, at `hatch_angle` (radians). Cutter files are DXF of
    version `dxf`. Outlines of which no side is longer than `tabs_up_to` get `tabs` holding tabs of
    `tab_length`. Necks and holes narrower than `smallest` are told; None is a usual size, see
    `cutting.smallest`. A sheet that is larger than the bed is cut into blanks by `most_cuts` straight cuts
    at most, None without a limit. The rest is as in `folds.FoldSettings`.
    """

    kind: CutterKind = "laser"
    bed: tuple[float, float] | None = None
    kerf: float = 0.0
    cut_speed: float = 20.0
    travel_speed: float = 300.0
    mark_speed: float = 100.0
    acceleration: float | None = None
    start_time: float = 0.0
    time_factor: float = 1.0
    pass_depth: float = 0.8
    skin: float = 0.6
    falloff: float = 0.0
    width_factor: float = 1.0
    spot: float = 0.0
    etch_speed: float = 200.0
    pitch: float = 0.1
    area_mode: bool = True
    hatch_angle: float = 0.0
    dxf: DxfVersion = "R2010"
    tabs: int = 0
    tab_length: float = 0.8
    tabs_up_to: float = 60.0
    smallest: float | None = None
    most_cuts: int | None = None

    @property
    def folds(self) -> FoldSettings:
        """What concerns grooves."""
        return FoldSettings(self.pass_depth, self.falloff, self.skin, self.width_factor, self.spot)


@dataclass(frozen=True, slots=True)
class Foam:
    """What the cutter does to one foam where that differs from `Cutter`; None where it doesn't. mm."""

    material: str
    thickness: float
    kerf: float | None = None
    pass_depth: float | None = None
    falloff: float | None = None
    skin: float | None = None
    width_factor: float | None = None
    spot: float | None = None


#: What a foam may set of its own.
FOAM_KEYS = ("kerf", "pass_depth", "falloff", "skin", "width_factor", "spot")

#: Thicknesses that differ by no more than this are the same, mm.
SAME_THICKNESS = 0.01


def same_thickness(first: float, second: float) -> bool:
    """Whether two thicknesses, mm, are meant to be the same."""
    return abs(first - second) <= SAME_THICKNESS + 1e-9


def cutter_for(cutter: Cutter, foams: Iterable[Foam], material: str, thickness: float) -> Cutter:
    """The cutter with what it does to this foam."""
    for foam in foams:
        if foam.material == material and same_thickness(foam.thickness, thickness):
            own = {key: getattr(foam, key) for key in FOAM_KEYS if getattr(foam, key) is not None}
            return replace(cutter, **own)
    return cutter


@dataclass(frozen=True, slots=True)
class Sheet:
    """One kind of sheet, as bought or as it lies in the shop.

    Parameters
    ----------
    name : str
        How the sheet is called in lists, for example ``eva 6 mm 1200 x 600``.
    material : str
        Lower-case name of the material.
    thickness : float, mm
    size : (float, float), mm
        Width and height.
    price : float
        Of one bought sheet, or of one pack; sheets in the shop cost nothing.
    in_shop : int
        How many are there.
    buy : bool
        Whether more can be bought.
    density : float or None, kg/m^3
        None when none was given.
    pack : int
        So many are sold together.
    piece : int
        Number of the one piece in the list of the shop (`stock.shop`) that this is; 0 for others.
    outline : Outline or None
        The true edge of a piece that is no rectangle, bounding box from the origin.
    place : str
        Where the piece lies.
    """

    name: str
    material: str
    thickness: float
    size: tuple[float, float]
    price: float = 0.0
    in_shop: int = 0
    buy: bool = True
    density: float | None = None
    pack: int = 1
    piece: int = 0
    outline: Outline | None = None
    place: str = ""

    @property
    def area(self) -> float:
        """Foam of one sheet, mm^2."""
        return self.size[0] * self.size[1] if self.outline is None else self.outline.area


@dataclass(frozen=True, slots=True)
class Hardware:
    """A rod, tube or ball in the prop: real sizes that never scale, mm; None where none was given."""

    name: str
    diameter: float
    inner_diameter: float | None = None
    length: float | None = None


@dataclass(frozen=True, slots=True)
class Templates:
    """How paper templates are printed.

    Parameters
    ----------
    paper : "A4", "A3" or "letter"
    margin : float, mm
        Rim of the page that the printer leaves white.
    overlap : float, mm
        What two pages that are taped together share.
    which : "hand", "all" or "none"
        Templates for the parts that are cut by hand, for all parts, or none.
    """

    paper: PaperName = "A4"
    margin: float = 10.0
    overlap: float = 10.0
    which: TemplateChoice = "hand"


@dataclass(frozen=True, slots=True)
class Labels:
    """What is written on the copies, in single strokes.

    Parameters
    ----------
    numbers : bool
        Whether each copy carries its part's number.
    seams : bool
        Whether the edges of patterns carry the numbers of their seams.
    height : float, mm
        Of the digits, where there is room.
    """

    numbers: bool = True
    seams: bool = True
    height: float = 6.0


@dataclass(frozen=True, slots=True)
class Assembly:
    """Parts that are glued together; lower `order` is cut and glued first."""

    name: str
    order: int = 0


@dataclass(frozen=True, eq=False)
class Part:
    """One flat piece of one thickness, as it would be cut at the build's scale.

    Parameters
    ----------
    name : str
    shape : Shape
        Finished size; its bounding box starts at (0, 0).
    material, thickness
        Of the sheet it is cut from (mm); exactly the values of one of the build's sheets.
    copies : int
        Quantity plus spares.
    spares : int
        How many of the copies are spares.
    mirrored_pairs : bool
        True when every second copy is mirrored: copy 2, 4, ... (copies count from 1).
    turns : Turns
    assembly : str
        Empty when the part belongs to none.
    by_hand : bool
        True when the maker asked for this part to be cut by hand.
    source : str
        Where the outline comes from, for messages: ``halberd.svg#blade``.
    findings : tuple of Finding
    pattern : PatternInfo, optional
        For a part that was developed from finished sizes.
    tabs, tab_length : int, float (mm), optional
        Holding tabs of its outline, whatever its size; None leaves them to the cutter's settings.
    label : bool or None
        Whether its copies carry its number; None leaves it to `cutting.labels`.
    number : int
        What they carry; 0 for the part's place in the list.
    """

    name: str
    shape: Shape
    material: str
    thickness: float
    copies: int = 1
    spares: int = 0
    mirrored_pairs: bool = False
    turns: Turns = field(default_factory=Turns)
    assembly: str = ""
    by_hand: bool = False
    source: str = ""
    findings: tuple[Finding, ...] = ()
    pattern: PatternInfo | None = None
    tabs: int | None = None
    tab_length: float | None = None
    label: bool | None = None
    number: int = 0

    @property
    def owner(self) -> str:
        """Its name in the build file, where a pattern of several pieces has one."""
        return self.name if self.pattern is None else self.pattern.owner

    def is_mirrored(self, copy: int) -> bool:
        """Whether copy number ``copy`` (from 1) is cut mirrored."""
        return self.mirrored_pairs and copy % 2 == 0


@dataclass(frozen=True, eq=False)
class Build:
    """One whole prop, read and checked, at one scale.

    Parameters
    ----------
    name : str
    file : pathlib.Path
        The build file.
    unit : "mm" or "in"
        What reports speak.
    scale : float
        The factor from drawing to finished size.
    gap, margin : float, mm
    cutter : Cutter
    sheets : tuple of Sheet
        In the build file's order.
    assemblies : tuple of Assembly
        Sorted by order, then by their place in the file.
    parts : tuple of Part
        In the build file's order.
    findings : tuple of Finding
        Warnings about the build itself and its drawings; those of a part are with the part.
    hardware : tuple of Hardware
        In the build file's order.
    foams : tuple of Foam
        In the build file's order.
    templates : Templates
    labels : Labels
    shop : str
        Id of the shop whose list the sheets with a piece number are from; empty when there are none.
    drawings : tuple of pathlib.Path
        The drawings that were read.
    reference : str
        The drawn part whose finished length the build file gives; empty when it gives a scale.
    """

    name: str
    file: FilePath
    unit: Unit
    scale: float
    gap: float
    margin: float
    cutter: Cutter
    sheets: tuple[Sheet, ...]
    assemblies: tuple[Assembly, ...]
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...] = ()
    hardware: tuple[Hardware, ...] = ()
    foams: tuple[Foam, ...] = ()
    templates: Templates = field(default_factory=Templates)
    labels: Labels = field(default_factory=Labels)
    shop: str = ""
    drawings: tuple[FilePath, ...] = ()
    reference: str = ""

    def cutter_for(self, material: str, thickness: float) -> Cutter:
        """The cutter with what it does to this foam."""
        return cutter_for(self.cutter, self.foams, material, thickness)

    def kerf_on(self, material: str, thickness: float, how: CutterKind) -> float:
        """What a cut through this foam takes away, mm: nothing by hand."""
        return 0.0 if how == "hand" else self.cutter_for(material, thickness).kerf

    def measured(self, name: str = "") -> Part | None:
        """The part by which the prop's size is told: the named one, the build file's, or the longest drawn.

        None when there is no such drawn part.
        """
        drawn = [part for part in self.parts if part.pattern is None]
        wanted = name or self.reference
        if wanted:
            return next((part for part in drawn if part.name == wanted), None)
        return max(drawn, key=lambda part: max(part.shape.outline.size), default=None)

    def number_of(self, part: Part) -> int:
        """Which part of the build file this is, from 1; the parts of one pattern share it."""
        return list(dict.fromkeys(one.owner for one in self.parts)).index(part.owner) + 1

    def number_in_list(self, part: Part) -> int:
        """The number that a part's copies carry: its own, or its place in the part list, from 1."""
        return part.number or self._numbers[part.name]

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {part.name: number for number, part in enumerate(self.parts, start=1)}
