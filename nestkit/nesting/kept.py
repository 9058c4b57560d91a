"""Sheets that are cut already beside those that are planned: their numbers, and the figures of both."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from nestkit.build.model import Sheet
from nestkit.nesting.model import Group, PlannedSheet


def without_used(kinds: Sequence[Sheet], kept: Sequence[PlannedSheet]) -> list[Sheet]:
    """The kinds of sheets with fewer in the shop: those that are cut already are not there to be used."""
    used = Counter(name for name, _ in {(s.stock, s.stock_number) for s in kept if not s.bought})
    return [replace(kind, in_shop=max(kind.in_shop - used[kind.name], 0)) for kind in kinds]


def beside_kept(
    sheets: Sequence[PlannedSheet], kept: Sequence[PlannedSheet], kinds: Sequence[Sheet]
) -> list[PlannedSheet]:
    """Planned sheets with numbers that none of those that are cut already has."""
    if not kept:
        return list(sheets)
    taken = {(sheet.stock, sheet.stock_number) for sheet in kept}
    in_shop = {kind.name: kind.in_shop for kind in kinds}
    numbers: dict[tuple[str, int, bool], int] = {}
    for stock, number, bought in sorted({(s.stock, s.stock_number, s.bought) for s in sheets}):
        free = in_shop.get(stock, 0) + 1 if bought else 1
        while (stock, free) in taken:
            free += 1
        taken.add((stock, free))
        numbers[stock, number, bought] = free
    return [
        replace(sheet, stock_number=numbers[sheet.stock, sheet.stock_number, sheet.bought])
        for sheet in sheets
    ]


def nothing_to_plan(material: str, thickness: float) -> Group:
    """The figures of a group whose parts are all cut already, before these are counted."""
    return Group(material, thickness, 0, 0, 0, True, 0.0, 0.0)


def with_kept(
    group: Group, sheets: Sequence[PlannedSheet], kept: Sequence[PlannedSheet], kinds: Sequence[Sheet]
) -> Group:
    """The group's figures with what is cut already: it is used and needed, and it is paid.

    Parameters
    ----------
    group : Group
        Figures of what is planned.
    sheets, kept : sequence of PlannedSheet
        The group's planned sheets, and those that are cut.
    kinds : sequence of Sheet
    """
    if not kept:
        return group
    areas = {kind.name: kind.area for kind in kinds}
    before = {(sheet.stock, sheet.stock_number) for sheet in kept}
    area = 0.0
    for stock, number in before | {(sheet.stock, sheet.stock_number) for sheet in sheets}:
        alike = [s for s in (*kept, *sheets) if (s.stock, s.stock_number) == (stock, number)]
        area += areas.get(stock, sum(sheet.outline.area for sheet in alike))
    foam = sum(placed.part.shape.outline.area for s in (*kept, *sheets) for placed in s.placed)
    return replace(
        group,
        parts=group.parts + sum(len(sheet.placed) for sheet in kept),
        sheets_used=group.sheets_used + len(before),
        sheets_at_least=group.sheets_at_least + len(before),
        waste=1.0 - foam / area,
    )
