"""What a plan.json says, as values: the part list, sheets, copies, groups, leftovers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nestkit.units import Unit, show_given

Points = NDArray[np.float64]
Key = tuple[str, int]
GroupKey = tuple[str, float]


@dataclass(frozen=True, eq=False)
class ListedFold:
    """A fold or bevel of a part, in the part's own coordinates; widths as drawn, mm; angle in radians."""

    kind: str
    angle: float
    closed: bool
    points: Points
    mouth: float
    widths: tuple[float, ...]

    @property
    def halves(self) -> float:
        """A fold's groove lies on both sides of its line, a bevel's on one."""
        return 1.0 if self.kind == "bevel" else 2.0


@dataclass(frozen=True, slots=True)
class Etching:
    """What the plan etches on a sheet, mm; `passes` are layers and how deep the foam is after each."""

    skin: float
    depth: float
    width_factor: float
    spot: float
    hatched: bool
    pitch: float
    passes: tuple[tuple[str, float], ...]


@dataclass(frozen=True, eq=False)
class ListedPart:
    """A part of the part list: not turned, not mirrored, finished size; mm and mm^2."""

    name: str
    material: str
    thickness: float
    copies: int
    mirrored_pairs: bool
    width: float
    height: float
    area: float
    holes: int
    lines: int
    marks: int | None = None
    folds: tuple[ListedFold, ...] = ()
    tabs: int = 0
    tab_length: float = 0.0
    number: int | None = None

    def is_mirrored(self, copy: int) -> bool:
        """Whether copy number ``copy`` has to be mirrored: every second one of mirrored pairs."""
        return self.mirrored_pairs and copy % 2 == 0

    @property
    def group(self) -> GroupKey:
        """Material and thickness."""
        return self.material, self.thickness


@dataclass(frozen=True, slots=True)
class SeamEntry:
    """A seam's number, the parts that it joins, and on how many edges of a part its number belongs."""

    number: int
    parts: tuple[str, ...]
    edges: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class LabelEntry:
    """A line of text on a copy: start of its base line, mm; its turn, radians; height of its digits, mm."""

    text: str
    x: float
    y: float
    turn: float
    height: float


@dataclass(frozen=True, eq=False)
class PlacedCopy:
    """One copy as the plan places it: mirror, then turn (radians), then move (mm).

    `labels` are what is written on it, None in a plan from before there were any; `no_number` says why its
    number is not among them, `no_seams` which seams' numbers are not, once for each edge.
    """

    part: str
    copy: int
    x: float
    y: float
    turn: float
    mirrored: bool
    outline: Points
    holes: tuple[Points, ...]
    labels: tuple[LabelEntry, ...] | None = None
    no_number: str = ""
    no_seams: tuple[int, ...] = ()

    @property
    def key(self) -> Key:
        """Part name and copy number."""
        return self.part, self.copy


@dataclass(frozen=True, eq=False)
class SheetEntry:
    """One sheet or blank of the plan, which is one cutter file."""

    stock: str
    stock_number: int
    bought: bool
    blank_origin: tuple[float, float] | None
    material: str
    thickness: float
    outline: Points
    holes: tuple[Points, ...]
    how: str
    fill: float
    job: str
    cut_length: float
    placed: tuple[PlacedCopy, ...]
    kerf: float | None = None
    etching: Etching | None = None
    piece: int | None = None
    kept: str = ""

    @property
    def group(self) -> GroupKey:
        """Material and thickness."""
        return self.material, self.thickness


@dataclass(frozen=True, slots=True)
class GroupEntry:
    """What the plan says of one material and thickness."""

    material: str
    thickness: float
    parts: int
    sheets_used: int
    sheets_at_least: int
    proven: bool
    waste: float
    cost: float
    cost_at_least: float
    unused: tuple[tuple[str, int], ...]
    to_buy: tuple[tuple[str, int], ...]
    from_shop: tuple[tuple[str, int], ...]
    leftover: float | None = None


def called(group: GroupEntry | ListedPart | SheetEntry, unit: Unit) -> str:
    """Material and thickness as a maker says them: ``eva 6 mm``."""
    return f"{group.material} {show_given(group.thickness, unit)}"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A copy that the plan leaves out, and why."""

    part: str
    copy: int
    why: str


@dataclass(frozen=True, eq=False)
class LeftoverEntry:
    """A piece worth keeping: of sheet number `sheet`, or of what no blank is cut from (None)."""

    sheet: int | None
    stock: str
    stock_number: int
    material: str
    thickness: float
    outline: Points
    holes: tuple[Points, ...]

    @property
    def group(self) -> GroupKey:
        """Material and thickness."""
        return self.material, self.thickness


@dataclass(frozen=True, slots=True)
class TemplatesEntry:
    """What the plan says of the paper templates."""

    which: str
    pages: int
    parts: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class PlanFile:
    """The whole of plan.json, as far as it can be judged; `unit` is the build's, in which faults are told."""

    cutter: str
    bed: tuple[float, float] | None
    kerf: float
    gap: float
    margin: float
    parts: dict[str, ListedPart]
    groups: tuple[GroupEntry, ...]
    sheets: tuple[SheetEntry, ...]
    left_out: tuple[LeftOut, ...]
    templates: TemplatesEntry | None = None
    dxf: str = "R2010"
    build: str = ""
    shop: str = ""
    leftovers: tuple[LeftoverEntry, ...] = ()
    seams: tuple[SeamEntry, ...] = ()
    unit: Unit = "mm"

    def kerf_on(self, sheet: SheetEntry) -> float:
        """Width burnt away on this sheet, mm: none where it is cut by hand."""
        if sheet.how == "hand":
            return 0.0
        return self.kerf if sheet.kerf is None else sheet.kerf

    def knows(self, key: Key) -> bool:
        """Whether the part list has this copy."""
        part = self.parts.get(key[0])
        return part is not None and 1 <= key[1] <= part.copies
