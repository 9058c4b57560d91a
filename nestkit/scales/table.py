"""The table of sizes: rows of words for people, and ``scales.csv`` for a spreadsheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nestkit.output.lists import csv_bytes
from nestkit.output.report_words import show_money, show_time
from nestkit.output.text import show_number
from nestkit.scales.model import Comparison, GroupResult, Leftover, SizeResult
from nestkit.scales.words import (
    foam_name,
    hand_parts,
    layer_errors,
    notes,
    show_scale,
    unit_of,
)
from nestkit.units import mm_per, show_size


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One size in words.

    Parameters
    ----------
    scale, size : str
        ``size`` is that of the part by which sizes are told.
    groups : tuple of (str, str)
        For each material and thickness: sheets, and what is certain of them.
    money, waste, leftover, time : str
    notes : tuple of str
    whole : bool
        False when something is left out.
    """

    scale: str
    size: str
    groups: tuple[tuple[str, str], ...]
    money: str
    waste: str
    leftover: str
    time: str
    notes: tuple[str, ...]
    whole: bool


def size_rows(comparison: Comparison) -> tuple[SizeRow, ...]:
    """A row for each size, from the smallest to the largest."""
    return tuple(_row(comparison, place) for place in range(len(comparison.sizes)))


def _row(comparison: Comparison, place: int) -> SizeRow:
    size = comparison.sizes[place]
    unit = unit_of(comparison)
    groups = {group.key: group for group in size.groups}
    box = "-" if size.length is None else show_size(size.length, size.height or 0.0, unit)
    return SizeRow(
        scale=show_scale(size.scale),
        size=box,
        groups=tuple(_sheets(groups.get(key)) for key in comparison.groups),
        money=show_money(size.cost),
        waste=f"{size.waste:.0%}",
        leftover=_leftover([group.leftover for group in size.groups], comparison),
        time=show_time(size.seconds),
        notes=tuple(notes(comparison, place)),
        whole=not size.left_out,
    )


def _sheets(group: GroupResult | None) -> tuple[str, str]:
    if group is None:
        return "0", ""
    if group.proven:
        return str(group.sheets), "no fewer can do" if group.at_any_price else "none is cheaper"
    return str(group.sheets), f"{group.sheets_at_least} at least"


def _leftover(leftovers: Sequence[Leftover], comparison: Comparison) -> str:
    """The largest piece that is worth keeping."""
    boxes = [each for each in leftovers if each.largest is not None]
    if not boxes:
        return "-"
    largest = max(boxes, key=lambda each: (each.largest or (0.0, 0.0))[0] * (each.largest or (0.0, 0.0))[1])
    return show_size(*(largest.largest or (0.0, 0.0)), unit_of(comparison))


def table_bytes(comparison: Comparison) -> bytes:
    """``scales.csv``: a row for each size; sizes that are missing stand at the end with the reason."""
    unit = comparison.unit
    head = ["scale", f"length ({unit})", f"height ({unit})", "measured on"]
    for key in comparison.groups:
        foam = foam_name(comparison, key)
        head += [f"{foam}: sheets", f"{foam}: certainly needed", f"{foam}: cost", f"{foam}: waste (%)"]
        head += [f"{foam}: leftover pieces", f"{foam}: largest leftover ({unit})"]
    head += [
        "cost",
        "waste (%)",
        "cutting time (min)",
        "cut by hand for its size",
        "too slim for the cutter",
    ]
    head += ["layers (height error)", "left out", "note"]
    rows = [head]
    rows += [_cells(comparison, size) for size in comparison.sizes]
    empty = [""] * (len(head) - 2)
    rows += [[show_scale(gap.scale), *empty, gap.why] for gap in comparison.missing]
    return csv_bytes(rows)


def _cells(comparison: Comparison, size: SizeResult) -> list[str]:
    unit = unit_of(comparison)
    per, digits = mm_per(unit), 1 if unit == "mm" else 3
    row = [show_scale(size.scale)]
    row += ["" if side is None else show_number(side / per, digits) for side in (size.length, size.height)]
    row.append(comparison.reference)
    groups = {group.key: group for group in size.groups}
    for key in comparison.groups:
        group = groups.get(key)
        if group is None:
            row += ["0", "0", "0.00", "", "0", ""]
            continue
        kept = group.leftover
        row += [str(group.sheets), str(group.sheets_at_least), show_money(group.cost), _percent(group.waste)]
        row += [
            str(kept.pieces),
            "" if kept.largest is None else " x ".join(show_number(s / per, digits) for s in kept.largest),
        ]
    row += [show_money(size.cost), _percent(size.waste), show_number(size.seconds / 60.0, 1)]
    row += [
        "; ".join(hand_parts(size)),
        "; ".join(f"{each.part} ({show_number(each.width / per, digits + 1)})" for each in size.slim),
        layer_errors(size, unit),
        "; ".join(f"{each.part} ({each.copies})" for each in size.left_out),
        "",
    ]
    return row


def _percent(share: float) -> str:
    return show_number(100.0 * share, 1)
