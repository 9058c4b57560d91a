"""Reads a build file: everything that is wrong in it is told at once."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import Any

from nestkit.build import convert
from nestkit.build.crosscheck import cross_check
from nestkit.build.draft import draft_of
from nestkit.build.mistakes import Mistakes
from nestkit.build.model import Build
from nestkit.build.parts import SCALES, make_parts
from nestkit.build.places import key_lines
from nestkit.errors import InputError, Problem
from nestkit.units import MM_PER_CSS_UNIT

#: A build file of five thousand parts is about half as long, bytes.
LARGEST_FILE = 2_000_000


def load_build(file: Path, scale: float | None = None) -> Build:
    """Reads and checks a build file and its drawings.

    Parameters
    ----------
    file : pathlib.Path
    scale : float, optional
        In place of the build file's scale or finished length.

    Returns
    -------
    Build
        In millimetres and radians, parts at their finished size.

    Raises
    ------
    InputError
        With every mistake in the build file and its drawings, each with its place. A mistake in the
        TOML itself comes alone, because nothing behind it can be read.
    """
    if scale is not None and not (math.isfinite(scale) and SCALES[0] <= scale <= SCALES[1]):
        todo = f"It lies between {SCALES[0]:g} and {SCALES[1]:g}"
        raise InputError.one("scale", f"{scale:g} is no usable scale", todo)
    file = Path(file)
    data, mistakes = _parse(file)
    draft = draft_of(data, mistakes)
    sheets = convert.sheets_of(draft.file.sheet, draft.unit)
    cross_check(draft, sheets, mistakes)
    made = make_parts(draft, sheets, file.parent, scale, mistakes)
    if mistakes:
        raise InputError(mistakes.problems())
    tables, unit = draft.file, draft.unit
    return Build(
        name=tables.build.name,
        file=file,
        unit=unit,
        scale=made.scale,
        gap=convert.in_mm(tables.layout.gap, unit, convert.USUAL_GAP),
        margin=convert.in_mm(tables.layout.margin, unit, convert.USUAL_MARGIN),
        cutter=convert.cutter_of(tables.cutter, unit),
        sheets=sheets,
        assemblies=convert.assemblies_of(tables.assembly),
        parts=made.parts,
        findings=made.findings,
        hardware=convert.hardware_of(tables.hardware, unit),
        foams=convert.foams_of(tables.foam, sheets, unit),
        templates=convert.templates_of(tables.templates, unit),
        labels=convert.labels_of(tables.labels, unit),
        drawings=made.drawings,
        reference="" if tables.build.finished is None else tables.build.finished.part,
    )


def _parse(file: Path) -> tuple[dict[str, Any], Mistakes]:
    text = _text(file)
    try:
        data = tomllib.loads(text)
        lines = key_lines(text)
    except RecursionError as error:
        what = "its lists or tables are nested too deep"
        raise InputError.one(file.name, what, "Look for brackets that are not closed") from error
    except ValueError as error:
        raise InputError([_syntax_problem(file.name, text, error)]) from error
    return data, Mistakes(file.name, data, lines)


def _text(file: Path) -> str:
    name = str(file)
    try:
        if file.is_dir():
            raise InputError.one(name, "is a folder", "Name the build file in it, for example build.toml")
        if not file.exists():
            raise InputError.one(name, "there is no such file", "'nestkit new DIR' writes one to start from")
        if not file.is_file():
            raise InputError.one(name, "is not a regular file", "Name a build file")
        if file.stat().st_size > LARGEST_FILE:
            raise InputError.one(
                name, f"is larger than {LARGEST_FILE:,} bytes; no build file is", "Name a build file"
            )
        raw = file.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError.one(name, f"can't be read: {reason}", "See that you may read it") from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError.one(
            f"{file.name} (line {line})", "is not UTF-8 text", "Save it as UTF-8 in your editor"
        ) from error


def _syntax_problem(name: str, text: str, error: ValueError) -> Problem:
    message = str(error)
    line = ""
    found = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if found:
        message = message[: found.start()]
        name = f"{name} (line {found[1]}, column {found[2]})"
        line = "".join(text.split("\n")[int(found[1]) - 1 : int(found[1])])
    elif message.endswith(" (at end of document)"):
        message = message.removesuffix(" (at end of document)")
        name = f"{name} (at its end)"
    return Problem(name, f"this is not TOML: {message}", _syntax_hint(text, line, message))


def _without_unit(number: str, unit: str) -> str:
    """What to write in place of a number with its unit."""
    mm = MM_PER_CSS_UNIT.get(unit.lower(), {"m": 1000.0}.get(unit.lower(), 0.0))
    if unit.lower() in ("mm", "in", '"'):
        name = "mm" if unit.lower() == "mm" else "in"
        return (
            f'Write the number alone, {number}; units = "{name}" under [build] says what all lengths are in'
        )
    if mm:
        return (
            f'Write the number alone: {float(number) * mm:.6g} when units under [build] is "mm", or not given'
        )
    return f"Write the number alone, {number}"


def _syntax_hint(text: str, line: str, message: str) -> str:
    """What makers write most often where TOML wants something else."""
    if text.lstrip().startswith("<") or text.lstrip().startswith(("0\n", "0\r")):
        return "This is a drawing: name the build file, and the drawing in it"
    if re.search(r"=\s*\d+,\d", line):
        return "Write decimals with a point, as in 0.2"
    if found := re.search(r"[=,\[]\s*(\d+(?:\.\d+)?)\s*/\s*(\d+(?:\.\d+)?)", line):
        value = float(found[1]) / float(found[2]) if float(found[2]) else 0.0
        return f"Write the fraction as a decimal, as in {value:.6g}"
    if found := re.search(r"[=,\[]\s*(-?\d+(?:\.\d+)?)\s*([A-Za-z\u00b5%\u00b0'\"]+)", line):
        return _without_unit(found[1], found[2])
    if "\\" in line:
        return "Write / in place of \\ in paths"
    if declared := re.search(r"Cannot (?:declare|mutate).*'(part|sheet|assembly|foam)'", message):
        return f"Each {declared[1]} begins with [[{declared[1]}]], in double brackets"
    if re.search(r"=\s*[A-Za-z]", line):
        return 'Put words in quotes, as in "laser"; only true and false stand without'
    return "Mend it first; the rest is looked at after that"
