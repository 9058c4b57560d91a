"""The sheets that a group may use, put in a row as bins: those in the shop first, then bought ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from nestkit.build.model import Sheet
from nestkit.geometry import Outline
from nestkit.nesting.bounds import Offer
from nestkit.nesting.problem import Bin
from nestkit.stock.blanks import Blank, as_laid, lies_on, rectangle, ways_to_cut
from nestkit.stock.odd_blanks import odd_blanks


@dataclass(frozen=True, slots=True)
class SheetBin:
    """One bin of a supply: a whole sheet or a blank of one.

    Parameters
    ----------
    sheet : Sheet
    number : int
        Which sheet of its kind, counting from 1; those in the shop come first.
    bought : bool
    size : (float, float), mm
        Of the whole sheet, as it is laid.
    blank : Blank
    way : int
        By which of `blanks.ways_to_cut` it is cut up.
    """

    sheet: Sheet
    number: int
    bought: bool
    size: tuple[float, float]
    blank: Blank
    way: int = 0

    @property
    def is_whole(self) -> bool:
        """True when the blank is the sheet itself."""
        return (self.blank.width, self.blank.height) == self.size

    @property
    def which(self) -> tuple[str, int]:
        """Names the sheet; blanks of one sheet share it."""
        return self.sheet.name, self.number


@dataclass(frozen=True, eq=False)
class Supply:
    """Bins in the order in which they are opened, and what each of them is."""

    bins: tuple[Bin, ...]
    meaning: tuple[SheetBin, ...]


def supply(
    sheets: Sequence[Sheet],
    bed: tuple[float, float] | None,
    at_most: int,
    first: Sheet | None = None,
    taken: dict[str, int] | None = None,
    *,
    most_cuts: int | None = None,
    way: int | None = None,
) -> Supply:
    """Puts sheets in a row.

    Parameters
    ----------
    sheets : sequence of Sheet
        All of one material and thickness.
    bed : (float, float) or None
        What does not lie on it is cut into blanks.
    at_most : int
        How many sheets of a kind that can be bought are ever needed.
    first : Sheet, optional
        The kind that is bought before others; without it nothing is bought.
    taken : dict, optional
        How many sheets of each name are used already.
    most_cuts : int, optional
        Straight cuts by which a sheet is cut into blanks, at most.
    way : int, optional
        Sheets that are cut up may be so in every way that there is. Those of ``first`` come in this one
        before those in others, and such as are in the shop in this one alone. Without it all are cut up
        in the usual way.
    """
    taken = taken or {}
    row: list[tuple[Sheet, int, bool, int]] = []
    # What is in the list of the shop is used up before sheets that the build file counts.
    for sheet in sorted(sheets, key=lambda s: (not s.piece, -s.area)):
        only = way if way is not None and sheet is first and sheet.outline is None else 0
        row += [(sheet, n, False, only) for n in range(taken.get(sheet.name, 0) + 1, sheet.in_shop + 1)]
    others = sorted((s for s in sheets if s is not first), key=lambda s: (s.price, s.size))
    for sheet in [first, *others] if first is not None else []:
        if sheet.buy:
            start = max(sheet.in_shop, taken.get(sheet.name, 0))
            ways = [0] if way is None else list(range(len(ways_of(sheet, bed, most_cuts))))
            if way is not None and sheet is first:
                ways = ways[way:] + ways[:way]
            for k in ways:
                row += [(sheet, n, True, k) for n in range(start + 1, start + at_most + 1)]
                start += at_most
    outlines: dict[tuple[float, float], Outline] = {}
    kinds: dict[tuple[float, float], int] = {}
    bins: list[Bin] = []
    meaning: list[SheetBin] = []
    for sheet, number, bought, k in row:
        size = as_laid(sheet.size, bed)
        if sheet.outline is not None:
            for blank, outline in odd_blanks(sheet.outline, bed, most_cuts):
                # No other bin is like it.
                bins.append(Bin(outline, -1 - len(bins)))
                meaning.append(SheetBin(sheet, number, bought, size, blank))
            continue
        for blank in ways_to_cut(size, bed, most_cuts)[k]:
            shape = (blank.width, blank.height)
            if shape not in outlines:
                outlines[shape] = rectangle(*shape)
                kinds[shape] = len(kinds)
            bins.append(Bin(outlines[shape], kinds[shape]))
            meaning.append(SheetBin(sheet, number, bought, size, blank, k))
    return Supply(tuple(bins), tuple(meaning))


def ways_of(
    sheet: Sheet, bed: tuple[float, float] | None, most_cuts: int | None
) -> tuple[tuple[Blank, ...], ...]:
    """The ways in which a rectangular sheet is cut into blanks, or the one in which it stays whole."""
    return ways_to_cut(as_laid(sheet.size, bed), bed, most_cuts)


def cost_of(used: Iterable[SheetBin]) -> float:
    """What the used sheets cost: those in the shop nothing, others by the sheet or by the pack."""
    bought = {sheet_bin.which: sheet_bin.sheet for sheet_bin in used if sheet_bin.bought}
    kinds = {sheet.name: sheet for sheet in bought.values()}
    numbers = Counter(sheet.name for sheet in bought.values())
    return sum(packs(sheet, numbers[name]) * sheet.price for name, sheet in kinds.items())


def packs(sheet: Sheet, number: int) -> int:
    """How many packs, or single sheets, are bought for so many sheets."""
    return -(-number // sheet.pack)


def offers(
    sheets: Sequence[Sheet],
    bed: tuple[float, float] | None,
    most_cuts: int | None = None,
    *,
    whole_too: bool = False,
) -> list[Offer]:
    """What the bounds may count on: shop sheets at no price, bought ones in any number, as they are laid.

    Parameters
    ----------
    sheets, bed, most_cuts
        As for `supply`.
    whole_too : bool
        Sheets that are larger than the bed may be cut whole as well, by hand.
    """
    found = []
    for sheet in sheets:
        size = as_laid(sheet.size, bed)
        ways = tuple(
            tuple((blank.width, blank.height) for blank in way) for way in ways_to_cut(size, bed, most_cuts)
        )
        largest = None if lies_on(size, bed) or whole_too else bed
        if sheet.in_shop > 0:
            found.append(Offer(size, 0.0, sheet.in_shop, ways, sheet.name, 1, largest, sheet.outline))
        if sheet.buy:
            found.append(Offer(size, sheet.price, None, ways, sheet.name, sheet.pack, largest, sheet.outline))
    return found
