"""The straight cuts by which a person cuts blanks from a sheet, in order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from nestkit.stock.blanks import HAIR, Blank, ways_to_cut

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class StraightCut:
    """One cut right across what is left of a sheet, in the coordinates of the sheet as it is laid.

    Parameters
    ----------
    upright : bool
        True when it runs from bottom to top, False from left to right.
    at : float, mm
        Its distance from the sheet's left edge, or from its bottom edge.
    start, end : float, mm
        Where it begins and ends along itself.
    """

    upright: bool
    at: float
    start: float
    end: float

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Its two end points."""
        if self.upright:
            return (self.at, self.start), (self.at, self.end)
        return (self.start, self.at), (self.end, self.at)


def straight_cuts(
    laid: tuple[float, float], bed: tuple[float, float] | None, used: Iterable[Box]
) -> tuple[StraightCut, ...]:
    """The cuts that free the blanks that are used: first upright ones over the whole height, then level ones.

    Parameters
    ----------
    laid : (float, float), mm
        The sheet's size as it is laid; see `blanks.as_laid`.
    bed : (float, float) or None, mm
    used : iterable of (x0, y0, x1, y1), mm
        The blanks that something is cut from; all are of one of `blanks.ways_to_cut`, or, of an offcut,
        each lies in one of the usual ones.

    Raises
    ------
    ValueError
        When a box lies in no blank.
    """
    width, height = laid
    boxes = list(used)
    ways = ways_to_cut(laid, bed)
    grid = next((way for way in ways if all(_is_one(way, box) for box in boxes)), ways[0])
    cells = [_cell(grid, box) for box in boxes]
    upright = {at for cell in cells for at in (cell.x, cell.x + cell.width) if HAIR < at < width - HAIR}
    cuts = [StraightCut(True, at, 0.0, height) for at in _once(upright)]
    for x, right in sorted({(cell.x, cell.x + cell.width) for cell in cells}):
        column = [cell for cell in cells if cell.x == x]
        level = {at for cell in column for at in (cell.y, cell.y + cell.height) if HAIR < at < height - HAIR}
        cuts += [StraightCut(False, at, x, right) for at in _once(level)]
    return tuple(cuts)


def _is_one(way: Sequence[Blank], box: Box) -> bool:
    """Whether a box is one of the blanks, whole."""
    return any(max(abs(a - b) for a, b in zip(box, _box(blank), strict=True)) <= HAIR for blank in way)


def _box(blank: Blank) -> Box:
    return blank.x, blank.y, blank.x + blank.width, blank.y + blank.height


def _cell(grid: Sequence[Blank], box: Box) -> Blank:
    x, y = (box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0
    for cell in grid:
        if cell.x <= x <= cell.x + cell.width and cell.y <= y <= cell.y + cell.height:
            return cell
    raise ValueError("a blank lies off its sheet")


def _once(places: Iterable[float]) -> list[float]:
    """Sorted; what sums of lengths make two of is one."""
    found: list[float] = []
    for at in sorted(places):
        if not found or at - found[-1] > HAIR:
            found.append(at)
    return found
