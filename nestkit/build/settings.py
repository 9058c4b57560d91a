"""Writes a cutter's settings for a foam back into a build file; comments and layout stay."""

from __future__ import annotations

import errno
import os
import re
import secrets
import time
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ValidationError
from tomlkit.items import AoT, Table

from nestkit.build.convert import material_of
from nestkit.build.model import same_thickness
from nestkit.build.read import load_build
from nestkit.build.tables import FoamTable
from nestkit.errors import InputError, OutputError, Problem
from nestkit.units import Unit, mm_per

#: Seconds after which a file of ours beside the build file is no longer in use.
_LEFT_AFTER = 3600.0

#: Settings that are lengths; the others are written as they are.
_LENGTHS = frozenset({"kerf", "pass_depth", "falloff", "skin", "spot"})


@dataclass(frozen=True)
class FoamSettings:
    """New settings of one foam: lengths mm, by the build file's keys."""

    material: str
    thickness: float
    values: Mapping[str, float]


def can_be_set(key: str, value: float, unit: Unit) -> bool:
    """Whether a build file takes this value (lengths mm) for a foam's key."""
    written = _rounded(value, unit) if key in _LENGTHS else round(value, 4)
    try:
        FoamTable.model_validate({"thickness": 1.0, key: written})
    except ValidationError:
        return False
    return True


def with_settings(text: str, foams: Sequence[FoamSettings], unit: Unit) -> str:
    """A build file's text with these settings in its [[foam]] tables; nothing else of it changes.

    Raises
    ------
    ValueError
        When the text is no TOML that can be changed.
    """
    document = tomlkit.parse(text)
    tables = document.get("foam")
    if tables is None:
        tables = tomlkit.aot()
        for foam in foams:
            tables.append(_new_table(foam, unit))
        document.append("foam", tables)
    elif isinstance(tables, AoT):
        for foam in foams:
            table = next((one for one in tables if _is_of(one, foam, unit)), None)
            if table is None:
                tables.append(_new_table(foam, unit))
            else:
                _set(table, foam, unit)
    else:
        raise ValueError("foam is not written as [[foam]] tables")
    written = tomlkit.dumps(document)
    _only_foams_changed(text, written)
    return written


def _only_foams_changed(before: str, after: str) -> None:
    old, new = tomllib.loads(before), tomllib.loads(after)
    old.pop("foam", None)
    new.pop("foam", None)
    if old != new:
        raise ValueError("the settings can't be put into this file without changing something else")


def _is_of(table: Mapping[str, Any], foam: FoamSettings, unit: Unit) -> bool:
    material = table.get("material")
    return same_thickness(float(table["thickness"]) * mm_per(unit), foam.thickness) and (
        material is None or material_of(str(material)) == foam.material
    )


def _new_table(foam: FoamSettings, unit: Unit) -> Table:
    table = tomlkit.table()
    table["material"] = foam.material
    table["thickness"] = _rounded(foam.thickness, unit)
    _set(table, foam, unit)
    return table


def _set(table: Any, foam: FoamSettings, unit: Unit) -> None:
    for key, value in foam.values.items():
        table[key] = _rounded(value, unit) if key in _LENGTHS else round(value, 4)


def _rounded(mm: float, unit: Unit) -> float | int:
    value = round(mm / mm_per(unit), 4 if unit == "mm" else 6)
    return int(value) if value == int(value) else value


def write_settings(file: Path, foams: Sequence[FoamSettings], unit: Unit) -> Path:
    """Put settings into a build file in one step; the file as it was is kept beside it.

    Returns
    -------
    pathlib.Path
        Where the old file is.

    Raises
    ------
    InputError
        When its settings can't be changed without touching something else, or the build could not be read
        with them; the file is then as it was.
    OutputError
        When it can't be written; it is then as it was.
    """
    raw = file.read_bytes()
    try:
        # Line ends are kept as they are: tomlkit knows both kinds.
        written = with_settings(raw.decode("utf-8-sig"), foams, unit).encode("utf-8")
    except (ValueError, tomlkit.exceptions.TOMLKitError) as error:
        raise InputError.one(
            file.name, str(error), "Write the settings into [[foam]] tables by hand"
        ) from error
    target = Path(os.path.realpath(file))
    staged = target.with_name(f".{target.name}.new-{secrets.token_hex(4)}")
    try:
        _try(file, written)
        _write(staged, written)
        kept = _keep(target, raw)
        staged.chmod(target.stat().st_mode & 0o7777)
        os.replace(staged, target)
    except OSError as error:
        with suppress(OSError):
            staged.unlink(missing_ok=True)
        reason = os.strerror(error.errno or errno.EIO)
        todo = "See that there is room and that you may write there; it is as it was"
        raise OutputError.one(str(file), f"can't be written: {reason}", todo) from error
    with suppress(OSError):
        _tidy(target)
    return kept


def _tidy(file: Path) -> None:
    """Takes away what runs that were killed over an hour ago have left beside the build file."""
    for left in file.parent.iterdir():
        ours = re.fullmatch(rf"\.{re.escape(file.name)}\.(new|old|try)-[0-9a-f]{{8}}", left.name)
        if ours and time.time() - left.lstat().st_mtime > _LEFT_AFTER:
            left.unlink()


def _try(file: Path, written: bytes) -> None:
    """Reads the new file as every command would, before it takes the place of the old one."""
    # Beside the name that the maker gave, even if that is a link: drawings are looked for from there.
    trial = file.with_name(f".{file.name}.try-{secrets.token_hex(4)}")
    try:
        trial.write_bytes(written)
        load_build(trial)
    except InputError as error:
        what = "with the new settings the build can't be read, so nothing was changed"
        problems = [replace(one, where=one.where.replace(trial.name, file.name)) for one in error.problems]
        todo = "Mend what follows, then calibrate again"
        raise InputError([Problem(file.name, what, todo), *problems]) from error
    finally:
        trial.unlink(missing_ok=True)


def _write(file: Path, data: bytes) -> None:
    """Writes a file that is on the disk when this returns, even if the power fails a moment later."""
    with file.open("wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _keep(file: Path, raw: bytes) -> Path:
    """Writes the old file beside the new one, under a name that is free, whole or not at all."""
    staged = file.with_name(f".{file.name}.old-{secrets.token_hex(4)}")
    try:
        _write(staged, raw)
        number = 1
        while True:
            kept = file.with_name(f"{file.stem}-before-{number}{file.suffix}")
            if not _taken(staged, kept):
                return kept
            number += 1
    finally:
        staged.unlink(missing_ok=True)


def _taken(staged: Path, kept: Path) -> bool:
    """Whether ``kept`` is there already; if not, ``staged`` gets that name."""
    try:
        os.link(staged, kept)
    except FileExistsError:
        return True
    except (OSError, NotImplementedError):  # a disk without hard links
        if kept.exists():
            return True
        staged.rename(kept)
    return False
