"""A group's figures: what its sheets cost and hold, and what is proven of them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

from nestkit.build.model import Turns
from nestkit.nesting.bounds import EPSILON
from nestkit.nesting.model import Group, PlannedSheet, Unplaced
from nestkit.nesting.problem import Item
from nestkit.nesting.proofs import Prover
from nestkit.nesting.request import GroupRequest
from nestkit.nesting.supply import SheetBin, cost_of, offers, packs
from nestkit.stock.blanks import as_laid


def figures(
    request: GroupRequest,
    sheets: Sequence[PlannedSheet],
    used: Sequence[SheetBin],
    unplaced: Sequence[Unplaced],
    prover: Prover,
) -> Group:
    """The group's figures; ``prover`` knows all that is placed."""
    whole = {sheet_bin.which: sheet_bin for sheet_bin in used}
    area = sum(sheet_bin.sheet.area for sheet_bin in whole.values())
    foam = sum(placed.part.shape.outline.area for sheet in sheets for placed in sheet.placed)
    cost = cost_of(used)
    bought = Counter(sheet_bin.sheet.name for sheet_bin in whole.values() if sheet_bin.bought)
    kinds = {sheet.name: sheet for sheet in request.sheets}
    paid = {name: packs(kinds[name], number) * kinds[name].pack for name, number in bought.items()}
    proof = prover.prove(len(whole), cost)
    return Group(
        material=request.material,
        thickness=request.thickness,
        parts=request.copies,
        sheets_used=len(whole),
        sheets_at_least=proof.sheets,
        proven=proof.sheets == len(whole) and cost <= proof.money + EPSILON and not unplaced,
        waste=1.0 - foam / area if area else 0.0,
        cost=cost,
        to_buy=tuple(sorted(paid.items())),
        from_shop=_counted(sheet_bin.sheet.name for sheet_bin in whole.values() if not sheet_bin.bought),
        unused=tuple((name, paid[name] - bought[name]) for name in sorted(paid) if paid[name] > bought[name]),
        cost_at_least=proof.money,
        proven_by=proof.by,
        at_any_price=proof.at_any_price,
    )


def prover_of_placed(
    request: GroupRequest, sheets: Sequence[PlannedSheet], ruled_out: Sequence[tuple[int, ...]]
) -> Prover:
    """For what is placed: of what is left out nothing can be proven.

    Parameters
    ----------
    request : GroupRequest
    sheets : sequence of PlannedSheet
    ruled_out : sequence of tuple of int
        What the cutter's copies alone are proven not to lie on, and so not with those for the hand either.
    """
    bed = request.bed if any(sheet.how != "hand" for sheet in sheets) else None
    turned = any(as_laid(sheet.size, bed) != sheet.size for sheet in request.sheets)
    items = []
    for sheet in sheets:
        # By hand sheets are laid as they are bought: there a part lies turned, seen from the cutter's way.
        other_way = turned and sheet.how == "hand"
        for placed in sheet.placed:
            turns = _either_way(placed.part.turns) if other_way else placed.part.turns
            items.append(Item(placed.part.shape.outline, turns, placed.placement.mirrored))
    by_hand = any(sheet.how == "hand" for sheet in sheets)
    rooms = offers(request.sheets, bed, request.most_cuts, whole_too=by_hand)
    prover = Prover(items, rooms, request.spacing)
    for numbers in ruled_out:
        prover.rule_out(numbers)
    return prover


def _either_way(turns: Turns) -> Turns:
    """The turns, and each of them on a sheet that is turned by a quarter."""
    if turns.angles is None:
        return turns
    return Turns(
        tuple(sorted({*turns.angles, *((angle + math.pi / 2.0) % math.tau for angle in turns.angles)}))
    )


def _counted(names: Iterable[str]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted(Counter(names).items()))
