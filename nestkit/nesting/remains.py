"""What is left of a plan's sheets and worth keeping."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from nestkit.build.model import Sheet
from nestkit.geometry import Outline
from nestkit.geometry.affine import translation
from nestkit.nesting.model import Group, Leftover, PlannedSheet
from nestkit.stock.blanks import as_laid, rectangle
from nestkit.stock.leftovers import USUAL, Usable, leftovers
from nestkit.stock.odd_blanks import laid_offcut


def remains(
    sheets: Sequence[PlannedSheet],
    kinds: Sequence[Sheet],
    bed: tuple[float, float] | None,
    kerf_on: Callable[[PlannedSheet], float],
    usable: Usable = USUAL,
) -> tuple[Leftover, ...]:
    """The pieces worth keeping of every sheet, then what no blank is cut from.

    Parameters
    ----------
    sheets : sequence of PlannedSheet
    kinds : sequence of Sheet
        The kinds that they are of, by name.
    bed : (float, float) or None, mm
        For which sheets are laid.
    kerf_on : callable
        Width burnt away on a sheet, mm.
    usable : Usable
    """
    found = [
        Leftover(sheet.index, sheet.stock, sheet.stock_number, sheet.material, sheet.thickness, outline)
        for sheet in sheets
        for outline in leftovers(
            sheet.outline, (placed.shape.outline for placed in sheet.placed), kerf_on(sheet), usable
        )
    ]
    cut_up: dict[tuple[str, int], list[PlannedSheet]] = {}
    for sheet in sheets:
        # Of what was cut up before, the sheet around it may be unknown; it is in the shop's list by now.
        if sheet.blank_origin is not None and not sheet.kept:
            cut_up.setdefault((sheet.stock, sheet.stock_number), []).append(sheet)
    named = {kind.name: kind for kind in kinds}
    for (stock, number), blanks in cut_up.items():
        whole = _whole(named[stock], None if blanks[0].how == "hand" else bed)
        boxes = [blank.outline.transformed(translation(*(blank.blank_origin or (0, 0)))) for blank in blanks]
        found += [
            Leftover(None, stock, number, blanks[0].material, blanks[0].thickness, outline)
            for outline in leftovers(whole, boxes, 0.0, usable)
        ]
    return tuple(found)


def with_leftovers(
    group: Group, found: Sequence[Leftover], sheets: Sequence[PlannedSheet], kinds: Sequence[Sheet]
) -> Group:
    """The group with the share of its used sheets that is worth keeping."""
    areas = {kind.name: kind.area for kind in kinds}

    def belongs(one: Leftover | PlannedSheet) -> bool:
        return (one.material, one.thickness) == (group.material, group.thickness)

    mine = [sheet for sheet in sheets if belongs(sheet)]
    area = 0.0
    for stock, number in {(sheet.stock, sheet.stock_number) for sheet in mine}:
        alike = [sheet for sheet in mine if (sheet.stock, sheet.stock_number) == (stock, number)]
        area += areas.get(stock, sum(sheet.outline.area for sheet in alike))
    kept = sum(each.outline.area for each in found if belongs(each))
    return replace(group, leftover=kept / area if area else 0.0)


def _whole(kind: Sheet, bed: tuple[float, float] | None) -> Outline:
    """The sheet's edge as it is laid."""
    if kind.outline is not None:
        return laid_offcut(kind.outline, bed)
    return rectangle(*as_laid(kind.size, bed))
