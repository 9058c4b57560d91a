"""What plan.json says is worth keeping, and the pieces of the shop that it uses."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.checking.limits import PLAN_FLATNESS, SHARE, SLACK, SPACING
from nestkit.checking.plan_entries import LeftoverEntry, PlanFile, SheetEntry, called
from nestkit.checking.plan_file import PLAN_NAME
from nestkit.checking.spacing import blank_of
from nestkit.checking.verdict import REWRITE, Fault


def judge_leftovers(plan: PlanFile) -> Iterator[Fault]:
    """Leftovers lie on their sheet, clear of what is cut and of each other; a piece is one sheet."""
    of_sheet: dict[int | None, list[LeftoverEntry]] = defaultdict(list)
    for each in plan.leftovers:
        of_sheet[each.sheet].append(each)
    for number, sheet in enumerate(plan.sheets, start=1):
        for text in _judge_sheet(plan, sheet, of_sheet[number]):
            yield _fault("plan-leftover", f"sheet {number}: {text}")
    yield from _judge_beside(plan, of_sheet[None])
    yield from _judge_shares(plan)
    yield from _judge_pieces(plan)


def _judge_sheet(plan: PlanFile, sheet: SheetEntry, kept: Sequence[LeftoverEntry]) -> Iterator[str]:
    room = blank_of(sheet).buffer(PLAN_FLATNESS + SLACK)
    parts = shapely.union_all([_region(placed.outline, placed.holes) for placed in sheet.placed])
    regions = []
    for each in kept:
        region = _region(each.outline, each.holes)
        if region.is_empty:
            yield "a leftover's outline crosses itself or encloses nothing"
            continue
        if (each.stock, each.stock_number, *each.group) != (sheet.stock, sheet.stock_number, *sheet.group):
            yield "a leftover is said to be of another sheet"
        if not room.covers(region):
            yield "a leftover leaves the sheet"
        if region.distance(parts) < plan.kerf_on(sheet) - SPACING or _shared(region, parts):
            yield "a leftover is part of what is cut"
        regions.append(region)
    yield from _overlaps(regions)


def _judge_beside(plan: PlanFile, kept: Sequence[LeftoverEntry]) -> Iterator[Fault]:
    """What is left beside blanks must not be where a blank is."""
    for each in kept:
        region = _region(each.outline, each.holes)
        blanks = [
            sheet
            for sheet in plan.sheets
            if (sheet.stock, sheet.stock_number, *sheet.group) == (each.stock, each.stock_number, *each.group)
        ]
        if not blanks or any(blank.blank_origin is None for blank in blanks):
            text = f"a leftover is said to lie beside the blanks of {each.stock} {each.stock_number}"
            yield _fault("plan-leftover", f"{text}, and no blank is cut from it")
            continue
        for blank in blanks:
            x, y = blank.blank_origin or (0.0, 0.0)
            moved = shapely.transform(blank_of(blank), lambda xy, by=(x, y): xy + by)
            if _shared(region, moved):
                yield _fault("plan-leftover", f"a leftover beside the blanks is part of {blank.job}")


def _judge_shares(plan: PlanFile) -> Iterator[Fault]:
    for group in plan.groups:
        if group.leftover is None:
            continue
        key = (group.material, group.thickness)
        kept = sum(_region(e.outline, e.holes).area for e in plan.leftovers if e.group == key)
        sheets = [sheet for sheet in plan.sheets if sheet.group == key]
        stock = sum(blank_of(sheet).area for sheet in sheets)
        share = kept / stock if stock else 0.0
        whole = all(sheet.blank_origin is None for sheet in sheets)
        # Of a blank the sheet around it is unknown here, so that the share can only be less.
        if group.leftover > share + SHARE or (whole and group.leftover < share - SHARE):
            text = f"{share:.1%} is worth keeping, and plan.json says {group.leftover:.1%}"
            yield _fault("plan-leftover", f"{called(group, plan.unit)}: {text}")
        if group.leftover > group.waste + SHARE:
            text = f"more is worth keeping ({group.leftover:.1%}) than is waste ({group.waste:.1%})"
            yield _fault("plan-leftover", f"{called(group, plan.unit)}: {text}")


def _judge_pieces(plan: PlanFile) -> Iterator[Fault]:
    homes: dict[int, set[tuple[str, int]]] = defaultdict(set)
    for sheet in plan.sheets:
        if sheet.piece is not None:
            homes[sheet.piece].add((sheet.stock, sheet.stock_number))
            if sheet.bought:
                yield _fault("plan-piece", f"{sheet.job}: a piece of the shop can't be bought")
    for piece, stocks in homes.items():
        if len(stocks) > 1:
            names = ", ".join(sorted(stock for stock, _ in stocks))
            yield _fault("plan-piece", f"piece {piece} of the shop is used as {names}")
    if homes and not plan.shop:
        yield _fault("plan-piece", "pieces of a shop are used, and plan.json does not say of which")


def _overlaps(regions: Sequence[BaseGeometry]) -> Iterator[str]:
    for number, one in enumerate(regions):
        if any(_shared(one, other) for other in regions[number + 1 :]):
            yield "two leftovers overlap"


def _shared(one: BaseGeometry, other: BaseGeometry) -> bool:
    """Whether two regions overlap by more than rounding."""
    return bool(shapely.area(shapely.intersection(one.buffer(-SPACING), other.buffer(-SPACING))) > 0.0)


def _region(outline: object, holes: object) -> BaseGeometry:
    region = Polygon(outline, holes)
    return region if region.is_valid else Polygon()


def _fault(code: str, text: str) -> Fault:
    return Fault(code, PLAN_NAME, "", None, None, text, REWRITE)
