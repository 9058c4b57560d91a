"""``blanks.csv`` against the plan: its straight cuts, made one after another, free each blank."""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from nestkit.checking.limits import LARGEST_FILE
from nestkit.checking.plan_entries import PlanFile, SheetEntry
from nestkit.checking.verdict import REWRITE, Fault

NAME, SKETCH = "blanks.csv", "blanks.svg"
#: Lengths in the list are rounded to this, mm.
ROUNDED = 0.02

_INCH = 25.4
#: Name of the sheet, its number, and whether it is bought.
Which = tuple[str, int, bool]


@dataclass(frozen=True, slots=True)
class _Row:
    what: str
    x: float
    y: float
    width: float
    height: float
    job: str

    @property
    def ends(self) -> tuple[float, float, float, float]:
        return self.x, self.y, self.x + self.width, self.y + self.height


def blanks_wanted(plan: PlanFile) -> dict[Which, list[SheetEntry]]:
    """The blanks that are still to be cut, by the sheet that they are cut from."""
    found: dict[Which, list[SheetEntry]] = defaultdict(list)
    for sheet in plan.sheets:
        if sheet.blank_origin is not None and not sheet.kept:
            found[sheet.stock, sheet.stock_number, sheet.bought].append(sheet)
    return found


def judge_blanks(folder: Path, plan: PlanFile) -> Iterator[Fault]:
    """Judge the list of blanks; that it is missing is told elsewhere."""
    wanted = blanks_wanted(plan)
    if not wanted or not (folder / NAME).is_file():
        return
    try:
        rows = _read(folder / NAME)
    # A list that was changed by hand or damaged may hold anything.
    except (ValueError, KeyError, TypeError, csv.Error, OSError) as error:
        reason = " ".join(str(error).split())[:120]
        yield Fault("unreadable", NAME, text=f"the list can't be read ({reason})")
        return
    for which in sorted(set(rows) | set(wanted)):
        name = f"{which[0]} {which[1]}"
        for text in _judge(rows.get(which, []), wanted.get(which, [])):
            yield Fault("blanks", NAME, text=f"{name}: {text}", todo=REWRITE)


def _read(file: Path) -> dict[Which, list[_Row]]:
    if file.stat().st_size > LARGEST_FILE:
        raise ValueError("it is too large")
    with file.open(encoding="utf-8-sig", newline="") as stream:
        table = list(csv.DictReader(stream))
    found: dict[Which, list[_Row]] = defaultdict(list)
    for row in table:
        head = next(key for key in row if re.fullmatch(r"width \((mm|in)\)", key or ""))
        unit = head[-3:-1]
        mm = _INCH if unit == "in" else 1.0
        x, y, width, height = (float(row[f"{key} ({unit})"]) * mm for key in ("x", "y", "width", "height"))
        if not np.isfinite([x, y, width, height]).all():
            raise ValueError("a length is no number")
        # What a spreadsheet would take for a formula has an apostrophe in front.
        which = (row["stock sheet"].removeprefix("'"), int(row["stock number"]), row["from"] == "bought")
        found[which].append(_Row(row["what"], x, y, width, height, row["job"]))
    return found


def _judge(rows: Sequence[_Row], wanted: Sequence[SheetEntry]) -> Iterator[str]:
    if not wanted:
        yield "no blank of the plan is cut from it"
        return
    sheets = [row for row in rows if row.what == "sheet"]
    if len(sheets) != 1:
        yield "its own size is not there once"
        return
    pieces = [shapely.box(*sheets[0].ends)]
    for number, row in enumerate((row for row in rows if row.what == "cut"), start=1):
        after = _cut(pieces, row)
        if after is None:
            yield f"cut {number} does not run right across one piece"
            return
        pieces = after
    listed = {row.job: row for row in rows if row.what == "blank"}
    for sheet in wanted:
        yield from _judge_blank(sheet, listed.pop(sheet.job, None), pieces)
    for job in listed:
        yield f"a blank for {job} is listed, and the plan has none"


def _judge_blank(sheet: SheetEntry, row: _Row | None, pieces: Sequence[BaseGeometry]) -> Iterator[str]:
    if row is None:
        yield f"the blank for {sheet.job} is not listed"
        return
    low = sheet.outline.min(axis=0) + np.array(sheet.blank_origin)
    high = sheet.outline.max(axis=0) + np.array(sheet.blank_origin)
    if np.abs(np.array(row.ends) - [*low, *high]).max() > 2.0 * ROUNDED:
        yield f"the blank for {sheet.job} has another size or place than in the plan"
        return
    box = shapely.box(*low, *high)
    home = [piece for piece in pieces if piece.buffer(2.0 * ROUNDED).covers(box)]
    # A piece of the shop may have any edge, so that only its box is known here.
    fills = [piece for piece in home if sheet.piece or box.buffer(4.0 * ROUNDED).covers(piece)]
    if not fills:
        yield f"its cuts do not free the blank for {sheet.job}"


def _cut(pieces: Sequence[BaseGeometry], row: _Row) -> list[BaseGeometry] | None:
    """The pieces after a cut; None when it is not straight, or not right across exactly one of them."""
    x0, y0, x1, y1 = row.ends
    if min(row.width, row.height) > ROUNDED:
        return None
    line = LineString([(x0, y0), (x1, y1)])
    crossed = [piece for piece in pieces if piece.buffer(-2.0 * ROUNDED).intersects(line)]
    if len(crossed) != 1:
        return None
    (piece,) = crossed
    left, low, right, high = piece.bounds
    if row.width <= row.height:
        reaches = abs(y0 - low) + abs(y1 - high)
        halves = [shapely.box(left, low, x0, high), shapely.box(x0, low, right, high)]
    else:
        reaches = abs(x0 - left) + abs(x1 - right)
        halves = [shapely.box(left, low, right, y0), shapely.box(left, y0, right, high)]
    if reaches > 4.0 * ROUNDED:
        return None
    return [*(one for one in pieces if one is not piece), *halves]
