"""What cutting a sheet means to the shop, and what became of booking it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nestkit.stock.pieces import Piece

if TYPE_CHECKING:
    from nestkit.stock.shop import Booking


@dataclass(frozen=True, eq=False)
class Use:
    """One sheet of a plan, with all the blanks that are cut from it.

    Parameters
    ----------
    sheets : tuple of int
        Their numbers in the plan.
    digest : str
        The same for the same sheet with the same parts on it, and for nothing else.
    piece : int or None
        Number of the piece that is used up; None for a sheet that the shop does not list.
    leftovers : tuple of Piece
        What comes into the shop.
    """

    sheets: tuple[int, ...]
    digest: str
    piece: int | None
    leftovers: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Used:
    """A booking of cut sheets.

    Parameters
    ----------
    booking : Booking
    sheets : tuple of int
        The plan's sheets that are booked by it.
    earlier : tuple of (tuple of int, str)
        The plan's sheets that are not, and how and when they were booked before.
    """

    booking: Booking
    sheets: tuple[int, ...]
    earlier: tuple[tuple[tuple[int, ...], str], ...]
