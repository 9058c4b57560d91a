"""What a plan means to the shop: which pieces it uses up, and which leftovers come back from it.

A plan is known by what is cut: each of its sheets has a digest of its own, from the sheet and the parts
on it. So the same sheet is not booked twice, neither from a copy of the folder nor from a later plan
that keeps it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path as FilePath

from nestkit.checking import LeftoverEntry, PlanFile, SheetEntry, read_plan
from nestkit.errors import InputError
from nestkit.geometry import Outline, Path
from nestkit.stock.pieces import Piece
from nestkit.stock.shop import Shop
from nestkit.stock.shop_uses import Use, Used
from nestkit.words import counted


def book_plan(
    shop: Shop, folder: FilePath, wanted: Sequence[int] = (), place: str = "", again: bool = False
) -> Used:
    """Takes what a plan uses out of the shop and its leftovers in, all in one booking.

    Parameters
    ----------
    shop : Shop
    folder : pathlib.Path
        What ``nestkit plan`` wrote.
    wanted : sequence of int
        Numbers of the sheets that were cut; empty for all. Blanks of one sheet go together.
    place : str
        Where the leftovers will lie.
    again : bool
        Book sheets that were booked before once more.

    Raises
    ------
    InputError
        When the folder holds no plan, or one of another shop; when a sheet is not in it, a piece that
        it uses is gone, or all was booked before. Nothing is booked then.
    """
    plan = read_plan(folder)
    uses = _chosen(folder, uses_of(plan, place), wanted)
    if any(use.piece for use in uses) and plan.shop != shop.id:
        raise InputError.one(
            str(folder),
            f"the plan uses pieces of another shop, not those in {shop.file}",
            "Name that shop's file with --shop",
        )
    numbers = ", ".join(str(number) for use in uses for number in use.sheets)
    return shop.use(uses, f"cut '{plan.build}', sheet{'s' if ',' in numbers else ''} {numbers}", again)


def add_leftovers(shop: Shop, folder: FilePath, sheet: int, place: str = "", again: bool = False) -> Used:
    """Takes the leftovers of one of a plan's sheets into the shop; the sheet itself is not booked out.

    Raises
    ------
    InputError
        As `book_plan`, and when nothing of the sheet is worth keeping.
    """
    plan = read_plan(folder)
    (use,) = _chosen(folder, uses_of(plan, place), [sheet])
    if not use.leftovers:
        raise InputError.one(
            f"{folder}, sheet {sheet}", "nothing of it is worth keeping", "Add a piece of it with --size"
        )
    return shop.use([use], f"leftovers of '{plan.build}', sheet {sheet}", again, leftovers_only=True)


def uses_of(plan: PlanFile, place: str = "") -> list[Use]:
    """What each sheet of a plan takes from the shop and brings into it; blanks of one sheet together."""
    together: dict[tuple[str, float, str, int], list[int]] = {}
    for number, sheet in enumerate(plan.sheets, start=1):
        together.setdefault((*sheet.group, sheet.stock, sheet.stock_number), []).append(number)
    found = []
    for key, numbers in together.items():
        sheets = [plan.sheets[number - 1] for number in numbers]
        note = f"left of {plan.build}, sheet {numbers[0]}"
        kept = [
            each
            for each in plan.leftovers
            if (*each.group, each.stock, each.stock_number) == key and each.sheet in (None, *numbers)
        ]
        found.append(
            Use(
                sheets=tuple(numbers),
                digest=sheets[0].kept or _digest(plan.build, sheets),
                piece=sheets[0].piece,
                leftovers=tuple(_piece(each, place, note) for each in kept),
            )
        )
    return found


def _chosen(folder: FilePath, uses: Sequence[Use], wanted: Sequence[int]) -> list[Use]:
    there = {number for use in uses for number in use.sheets}
    strange = sorted(set(wanted) - there)
    if strange:
        raise InputError.one(
            str(folder),
            f"the plan has no sheet {strange[0]}",
            f"It has {counted(len(there), 'sheet')}, from 1",
        )
    return [use for use in uses if not wanted or set(use.sheets) & set(wanted)]


def _piece(entry: LeftoverEntry, place: str, note: str) -> Piece:
    rings = [Path.polyline(ring, True) for ring in (entry.outline, *entry.holes)]
    return Piece(entry.material, entry.thickness, Outline(rings[0], tuple(rings[1:])), False, place, "", note)


def _digest(build: str, sheets: Sequence[SheetEntry]) -> str:
    """What these sheets are and what is cut from them, whatever their numbers in the plan."""
    told = [
        [
            build,
            sheet.material,
            sheet.thickness,
            sheet.stock,
            sheet.stock_number,
            sheet.bought,
            sheet.piece,
            sheet.blank_origin,
            sheet.outline.tolist(),
            [hole.tolist() for hole in sheet.holes],
            sorted([one.part, one.copy, one.outline.tolist()] for one in sheet.placed),
        ]
        for sheet in sheets
    ]
    text = json.dumps(sorted(told, key=repr), ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
