"""The table of a coupon's readings, as the maker filled it in."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from nestkit.build.convert import material_of
from nestkit.build.model import same_thickness
from nestkit.errors import InputError, Problem
from nestkit.folds.calibrate import Reading
from nestkit.folds.coupon import FieldKind
from nestkit.units import Unit, mm_per

#: Columns that must be there, in any order; readings stand in columns whose name begins with "reading".
COLUMNS = ("material", "thickness", "unit", "field", "measures", "setting", "passes", "depth")
#: No coupon's table is larger, bytes.
LARGEST_FILE = 1_000_000


@dataclass(frozen=True)
class FoamReadings:
    """The readings of one foam; thickness in mm."""

    material: str
    thickness: float
    readings: tuple[Reading, ...]


def read_readings(file: Path) -> tuple[FoamReadings, ...]:
    """Reads a table of readings; rows without any reading are left out.

    Raises
    ------
    InputError
        With every mistake, each with its line.
    """
    problems: list[Problem] = []
    foams: list[tuple[str, float, list[Reading]]] = []
    for line, row in _rows(file):
        if isinstance(row, str):
            problems.append(Problem(f"{file.name} (line {line})", row, "Put a cell under each column"))
            continue
        where = f"{file.name} (line {line}, field '{row.get('field', '')}')"
        try:
            made = _reading(row)
        except ValueError as error:
            problems.append(Problem(where, str(error), "Correct it, or empty its readings"))
            continue
        if made is None:
            continue
        material, thickness, reading = made
        for known in foams:
            if known[0] == material and same_thickness(known[1], thickness):
                known[2].append(reading)
                break
        else:
            foams.append((material, thickness, [reading]))
    if problems:
        raise InputError(problems)
    if not foams:
        raise InputError.one(file.name, "it holds no readings", "Fill in the columns 'reading 1' ...")
    return tuple(FoamReadings(material, thickness, tuple(found)) for material, thickness, found in foams)


def _rows(file: Path) -> list[tuple[int, dict[str, str] | str]]:
    """The rows with their lines, or what is wrong with those that have not one cell for each column."""
    try:
        if file.stat().st_size > LARGEST_FILE:
            raise InputError.one(file.name, "is too large for a table of readings", "Name the coupon's table")
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        what = f"can't be read: {error.strerror}"
        raise InputError.one(str(file), what, "Name the table that 'nestkit coupon' wrote") from None
    except UnicodeDecodeError:
        raise InputError.one(file.name, "is not UTF-8 text", "Save it as CSV in UTF-8") from None
    head = text.split("\n", 1)[0]
    # Spreadsheets of many countries save with semicolons, because their decimal sign is the comma.
    delimiter = ";" if head.count(";") > head.count(",") else ","
    try:
        table = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter)
        names = [(name or "").strip() for name in table.fieldnames or []]
        table.fieldnames = names
        rows: list[tuple[int, dict[str, str] | str]] = []
        for row in table:
            cells = [value for key, value in row.items() if isinstance(key, str) and value is not None]
            more = [value for value in row.get(None) or [] if value.strip()]
            if more or len(cells) < len(names):
                what = f"the row has {'more' if more else 'fewer'} cells than the table has columns"
                rows.append((table.line_num, what))
            elif any(value.strip() for value in cells):
                rows.append((table.line_num, {key: value.strip() for key, value in row.items() if key}))
    except csv.Error as error:
        raise InputError.one(file.name, f"is no table: {error}", "Save it as CSV") from None
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        raise InputError.one(
            file.name, f"has no column '{missing[0]}'", "Take the table that 'nestkit coupon' wrote"
        )
    return rows


def _reading(row: dict[str, str]) -> tuple[str, float, Reading] | None:
    cells = {name: value for name, value in row.items() if name.startswith("reading") and value}
    if not cells:
        return None
    unit: Unit
    if row.get("unit") == "in":
        unit = "in"
    elif row.get("unit") == "mm":
        unit = "mm"
    else:
        raise ValueError("its unit is neither mm nor in")
    mm = mm_per(unit)
    kind = row.get("measures", "")
    kinds: tuple[FieldKind, ...] = get_args(FieldKind)
    known = next((one for one in kinds if one == kind), None)
    if known is None:
        raise ValueError(f"it measures '{kind}', which is none of {', '.join(kinds)}")
    per = mm if known in ("kerf", "depth") else 1.0
    values = tuple(_number(value, name) * per for name, value in cells.items())
    if known in ("skin", "width") and not all(0.0 < value < 180.0 for value in values):
        raise ValueError("an angle lies between 0 and 180 degrees")
    setting = _number(row["setting"], "setting") * (mm if known == "skin" else 1.0)
    if known in ("kerf", "depth") and setting < 1.0:
        raise ValueError("its setting should be 1 or more")
    passes = _number(row["passes"], "passes") if row.get("passes") else 0
    depth = _number(row["depth"], "depth") * mm if row.get("depth") else 0.0
    if known != "kerf" and passes < 1:
        raise ValueError("its number of passes should be 1 or more")
    thickness = _number(row["thickness"], "thickness") * mm
    if thickness <= 0.0:
        raise ValueError(f"'{row['thickness'][:30]}' under thickness is no number above 0")
    if known == "depth":
        for name, value in cells.items():
            if _number(value, name) * mm >= thickness:
                raise ValueError(
                    f"'{value[:30]}' under {name} is no less than the foam's thickness of {row['thickness']} "
                    f"{unit}: nothing would be left under the square"
                )
    return (
        material_of(row["material"]),
        thickness,
        Reading(row["field"], known, setting, passes, depth, values),
    )


def _number(text: str, name: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"'{text[:30]}' under {name} is no number") from None
    # Nobody measures a millionth of anything, and far smaller numbers overflow when they are divided by.
    if not math.isfinite(value) or value > 1e5 or value < 0.0 or 0.0 < value < 1e-6:
        raise ValueError(f"'{text[:30]}' under {name} can't be right")
    return value
