"""A plan: which part lies where on which sheet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from nestkit.build.model import CutterKind, Part
from nestkit.geometry import Outline, Placement, Shape
from nestkit.nesting.proofs import ProvenBy


@dataclass(frozen=True, eq=False)
class PlacedPart:
    """One copy of a part, lying on a sheet.

    `copy` counts from 1 within the part; `placement` maps the part's own coordinates (bounding box
    from the origin, finished size) to the sheet's, whose origin is its lower left corner.
    """

    part: Part
    copy: int
    placement: Placement

    @cached_property
    def shape(self) -> Shape:
        """Outline and lines at finished size, in sheet coordinates."""
        return self.part.shape.transformed(self.placement.matrix)


@dataclass(frozen=True, eq=False)
class PlannedSheet:
    """One sheet, or one blank cut by hand from a sheet, with what lies on it: one bed load.

    Parameters
    ----------
    index : int
        Counts from 1 through the whole plan.
    stock : str
        Name of the kind of sheet (`build.model.Sheet.name`).
    stock_number : int
        Which sheet of that kind this is, or was cut from, counting from 1.
    bought : bool
        False when that sheet is already in the shop.
    blank_origin : (float, float) or None, mm
        Lower left corner of the blank on its sheet; None when it is the whole sheet.
    material, thickness
        Thickness in mm.
    outline : Outline
        Edge of the sheet or blank, lower left corner at (0, 0).
    how : str
        laser, knife or hand.
    placed : tuple of PlacedPart
    piece : int
        Its number in the list of the shop, or that of the piece that it is cut from; 0 when it has none.
    kept : str
        For a sheet that is cut already, by what it is known (`booking`); empty for others.
    """

    index: int
    stock: str
    stock_number: int
    bought: bool
    blank_origin: tuple[float, float] | None
    material: str
    thickness: float
    outline: Outline
    how: CutterKind
    placed: tuple[PlacedPart, ...]
    piece: int = 0
    kept: str = ""

    @property
    def fill(self) -> float:
        """Share of the sheet's area that becomes parts, 0..1."""
        return sum(placed.part.shape.outline.area for placed in self.placed) / self.outline.area


@dataclass(frozen=True, slots=True)
class Group:
    """What one material and thickness comes to.

    Parameters
    ----------
    material, thickness : str, float (mm)
    parts : int
        Copies asked for, those left out included.
    sheets_used : int
        Whole sheets, bought or from the shop; blanks of one sheet count once.
    sheets_at_least : int
        No plan that costs no more can do with fewer.
    proven : bool
        True when nothing is left out, `sheets_used` equals `sheets_at_least`, and `cost` equals
        `cost_at_least`.
    waste : float, 0..1
        Share of the used sheets' area that does not become parts.
    cost : float
        Money for the sheets to buy.
    to_buy : tuple of (str, int)
        Kinds of sheets and how many of each to buy: whole packs, where they are sold so.
    from_shop : tuple of (str, int)
        Kinds of sheets and how many of each to take from the shop.
    cost_at_least : float
        No plan can cost less.
    proven_by : str
        What proves `sheets_at_least`; see `proofs.Proof`.
    at_any_price : bool
        True when no dearer plan could do with fewer sheets than `sheets_at_least` either.
    unused : tuple of (str, int)
        Kinds of sheets and how many of those that are bought stay whole, as they come in packs.
    leftover : float, 0..1
        Share of the used sheets' area that is no part and is worth keeping.
    """

    material: str
    thickness: float
    parts: int
    sheets_used: int
    sheets_at_least: int
    proven: bool
    waste: float
    cost: float
    to_buy: tuple[tuple[str, int], ...] = ()
    from_shop: tuple[tuple[str, int], ...] = ()
    cost_at_least: float = 0.0
    proven_by: ProvenBy = "area"
    at_any_price: bool = True
    unused: tuple[tuple[str, int], ...] = ()
    leftover: float = 0.0


@dataclass(frozen=True, eq=False)
class Unplaced:
    """A copy that the plan leaves out, and why."""

    part: Part
    copy: int
    why: str


@dataclass(frozen=True, eq=False)
class Leftover:
    """Foam that is worth keeping once a sheet is cut.

    Parameters
    ----------
    sheet : int or None
        Number of the planned sheet that it is a piece of; None for what is left of a sheet beside the
        blanks that are cut from it.
    stock, stock_number
        Of the sheet.
    material, thickness
        Thickness in mm.
    outline : Outline
        In the planned sheet's coordinates, or in those of the whole sheet as it is laid.
    """

    sheet: int | None
    stock: str
    stock_number: int
    material: str
    thickness: float
    outline: Outline


@dataclass(frozen=True, eq=False)
class Plan:
    """The plan of a whole build: groups by material and thickness, sheets, what is left out and left over."""

    build: str
    scale: float
    seed: int
    groups: tuple[Group, ...]
    sheets: tuple[PlannedSheet, ...]
    unplaced: tuple[Unplaced, ...]
    leftovers: tuple[Leftover, ...] = ()
