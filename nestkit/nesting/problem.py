"""What the packing engine is asked, and what it answers: plain geometry, no names, no money.

Items are copies of outlines; bins are sheets or blanks. A layout says which item lies in which bin,
and where. The gap is kept between any two items, the margin between an item and its bin's edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Placement


@dataclass(frozen=True, eq=False)
class Item:
    """One copy to be placed.

    Parameters
    ----------
    outline : Outline
        Finished size, in the part's own coordinates, mm.
    turns : Turns
        The turns it may take.
    mirrored : bool
        True when it must lie mirrored.
    kind : int
        Items of one kind and the same `mirrored` are interchangeable: same outline, same turns.
    """

    outline: Outline
    turns: Turns = Turns()  # noqa: RUF009 - frozen, so it may be shared
    mirrored: bool = False
    kind: int = 0


@dataclass(frozen=True, eq=False)
class Bin:
    """A sheet, offcut or blank that items may lie on.

    Parameters
    ----------
    outline : Outline
        Its edge; holes are places that nothing may touch.
    kind : int
        Bins of one kind are interchangeable.
    """

    outline: Outline
    kind: int = 0


@dataclass(frozen=True, slots=True)
class Spacing:
    """Foam kept between two parts, and between a part and the sheet's edge, mm."""

    gap: float = 0.0
    margin: float = 0.0

    def __post_init__(self) -> None:
        if self.gap < 0.0 or self.margin < 0.0:
            raise ValueError("gap and margin can't be negative")
        # A nanometre is nothing to foam, and numbers near 0 break geometry that 0 does not.
        object.__setattr__(self, "gap", self.gap if self.gap >= 1e-6 else 0.0)
        object.__setattr__(self, "margin", self.margin if self.margin >= 1e-6 else 0.0)


@dataclass(frozen=True, slots=True)
class Seat:
    """Item number `item` lies in bin number `bin`, placed by `placement` (bin coordinates)."""

    item: int
    bin: int
    placement: Placement


@dataclass(frozen=True, slots=True)
class Layout:
    """Seats of all placed items, and the numbers of those that found no place."""

    seats: tuple[Seat, ...]
    left_out: tuple[int, ...] = ()


class Status(StrEnum):
    """How a search ended."""

    PROVEN = "proven"
    TIME = "best in time"
    STOPPED = "stopped"
