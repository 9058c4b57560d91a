"""Where everything lies at the sizes that were compared, kept so that a plan can begin with it.

What a comparison found for a size is not always found again in the time of one plan: the plan of a cliff was
carried up to it in small steps. A plan that begins with the layout is never worse than what was told.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache as once
from pathlib import Path
from typing import Any

from nestkit.errors import LONGEST_NAME, InputError, printable
from nestkit.nesting.carried import LaidSheet
from nestkit.scales.model import Comparison, GroupKey, GroupResult

#: The file's name, what it says it is, and the version of its form.
FILE, FORMAT, VERSION = "layouts.json", "nestkit-layouts", 1
#: Larger than any comparison's.
LARGEST_FILE = 256 * 1024 * 1024
#: Two scales nearer than this are the same.
SAME = 1e-6


@dataclass(frozen=True, slots=True)
class GroupLayout:
    """Where one group's parts lie at one size; `scale` is that of the build."""

    scale: float
    sheets: tuple[LaidSheet, ...]


def layouts_bytes(comparison: Comparison) -> bytes:
    """The layouts of all sizes that were compared, and of those just below the cliffs between them."""
    found: dict[GroupKey, dict[float, GroupResult]] = {}
    for size in comparison.sizes:
        for group in size.groups:
            found.setdefault(group.key, {})[size.scale] = group
    for cliff in comparison.cliffs:
        scale, group = cliff.below
        found.setdefault(group.key, {}).setdefault(scale, group)
    layouts = [
        {"scale": scale, "sheets": _adapter().dump_python(group.laid, mode="json")}
        for _, by_scale in sorted(found.items(), key=lambda row: (row[0][1], row[0][0]))
        for scale, group in sorted(by_scale.items())
        if group.laid
    ]
    data = {"format": FORMAT, "version": VERSION, "build": comparison.build, "layouts": layouts}
    return f"{json.dumps(data, separators=(',', ':'), ensure_ascii=False, allow_nan=False)}\n".encode()


def read_layouts(place: Path, build: str) -> tuple[GroupLayout, ...]:
    """The layouts that a comparison left in its folder.

    Parameters
    ----------
    place : Path
        The folder, or the file in it.
    build : str
        The name of the build that they are to be of.

    Raises
    ------
    InputError
        When there are none, they are another build's, or they can't be read.
    """
    file = place / FILE if place.is_dir() else place
    todo = "Name the folder that nestkit scales wrote"
    try:
        if file.stat().st_size > LARGEST_FILE:
            raise InputError.one(str(file), f"is larger than {LARGEST_FILE:,} bytes", todo)
        data: Any = json.loads(file.read_bytes())
    except OSError as error:
        raise InputError.one(str(file), f"can't be read: {error.strerror}", todo) from error
    except (ValueError, RecursionError) as error:
        raise InputError.one(str(file), "holds no layouts", todo) from error
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise InputError.one(str(file), "holds no layouts", todo)
    if data.get("version") != VERSION:
        what = f"is of version {data.get('version')!r}; version {VERSION} is read here"
        raise InputError.one(str(file), what, "Compare the sizes again with this version of nestkit")
    if data.get("build") != build:
        what = f"is of another build: '{printable(str(data.get('build')), LONGEST_NAME)}', not '{build}'"
        raise InputError.one(str(file), what, "Compare the sizes of this build, or leave the option out")
    try:
        rows = data["layouts"]
        return tuple(
            GroupLayout(float(row["scale"]), _adapter().validate_python(row["sheets"])) for row in rows
        )
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError.one(str(file), "is damaged", "Compare the sizes again") from error


def nearest(layouts: tuple[GroupLayout, ...], scale: float) -> tuple[LaidSheet, ...]:
    """What a plan at a scale best begins with, of each group.

    The smallest size that is not smaller: its layout holds the smaller parts too. Where there is none, the
    largest size there is.
    """
    by_group: dict[GroupKey, list[GroupLayout]] = {}
    for layout in layouts:
        for sheet in layout.sheets[:1]:
            by_group.setdefault((sheet.material, sheet.thickness), []).append(layout)
    found: list[LaidSheet] = []
    for rows in by_group.values():
        above = [row for row in rows if row.scale >= scale * (1.0 - SAME)]
        best = min(above, key=lambda row: row.scale) if above else max(rows, key=lambda row: row.scale)
        found += best.sheets
    return tuple(found)


@once
def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(tuple[LaidSheet, ...])
