"""Mistakes in a build file, told in a maker's words with their place."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from nestkit.build import tables
from nestkit.build.pattern_tables import PATTERN_TABLES, PanelsBase, WindowTable
from nestkit.build.places import Keys
from nestkit.drawings import LINE_TODO
from nestkit.errors import Problem, printable

TABLES: dict[str, type[BaseModel]] = {
    "build": tables.BuildTable,
    "layout": tables.LayoutTable,
    "cutter": tables.CutterTable,
    "templates": tables.TemplatesTable,
    "labels": tables.LabelsTable,
    "hardware": tables.HardwareTable,
    "sheet": tables.SheetTable,
    "assembly": tables.AssemblyTable,
    "foam": tables.FoamTable,
    "part": tables.PartTable,
}
#: Tables written with two brackets, one for each thing.
LISTS = ("sheet", "assembly", "foam", "part")
#: Tables whose keys are names that the maker chooses.
NAMED = ("hardware", "lines", "drawing_units")


class Mistakes:
    """Collects problems with a build file and knows how to name their places.

    Parameters
    ----------
    file : str
        The build file's name, for messages.
    data : dict
        The file as `tomllib` reads it.
    lines : dict
        Where keys stand; see `places.key_lines`.
    """

    def __init__(self, file: str, data: Mapping[str, Any], lines: Mapping[Keys, int]) -> None:
        self.file = file
        self.data = data
        self.lines = lines
        self._found: dict[Problem, int] = {}

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, loc: Keys, what: str, todo: str = "") -> None:
        """Adds a problem at ``loc``, a path such as ``("part", 2, "quantity")``."""
        line = self.line(loc)
        place = f"{self.label(loc)} (line {line})" if line else self.label(loc)
        # Names out of the file and its drawings go to a terminal: nothing in them may steer it.
        problem = Problem(*map(printable, (f"{self.file}: {place}", what, todo)))
        self._found.setdefault(problem, line)

    def add_errors(self, errors: Iterable[ErrorDetails]) -> None:
        """Adds what pydantic found."""
        for error in errors:
            self.add(place_of(error), *describe(error))

    def problems(self) -> list[Problem]:
        """Everything found, in the order of the file's lines."""
        return sorted(self._found, key=self._found.__getitem__)

    def line(self, loc: Keys) -> int:
        """The line of ``loc``, or of the table around it; 0 when it is nowhere in the file."""
        while loc and loc not in self.lines:
            loc = loc[:-1]
        return self.lines.get(loc, 0)

    def label(self, loc: Keys) -> str:
        """How a place is called: ``part[3] 'spike': quantity``, counting from 1."""
        if not loc:
            return "the file"
        section, rest = str(loc[0]), loc[1:]
        if section not in TABLES and section not in NAMED:
            return _dotted(loc)
        head = section
        if section in LISTS and rest and isinstance(rest[0], int):
            head, rest = f"{section}[{rest[0] + 1}]", rest[1:]
            name = _get(self.data, (*loc[:2], "name"))
            if isinstance(name, str) and 0 < len(name) <= 60 and name.isprintable() and rest != ("name",):
                head += f" '{name}'"
        elif section == "hardware" and rest:
            head, rest = f"hardware {show(rest[0])}", rest[1:]
        return f"{head}: {_dotted(rest)}" if rest else head


def show(value: object) -> str:
    """A value as a message quotes it, never long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = printable(value)
        return f"'{text}'" if len(text) <= 60 else f"'{text[:57]}...'"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**15 else "a number of very many digits"
    if isinstance(value, float):
        return repr(value) if abs(value) < 1e15 else f"{value:g}"
    if isinstance(value, Mapping):
        return "a table"
    return "a list" if isinstance(value, list) else "a date or time"


def nearest(wrong: str, right: Iterable[str]) -> str:
    """``Did you mean 'quantity'?`` when one of ``right`` is close to ``wrong``; empty otherwise."""
    close = _nearest(wrong, right)
    return f"Did you mean '{close}'?" if close else ""


def nearest_key(loc: Keys) -> str:
    """The key that was likely meant by the unknown key at ``loc``; empty when none is near."""
    return _nearest(str(loc[-1]), _keys(_model(loc)))


def listed(names: Iterable[str]) -> str:
    """Names in a row, not more than a dozen of them: ``'head', 'shaft'``."""
    names = list(names)
    shown = ", ".join(f"'{name}'" for name in names[:12])
    return f"{shown} and {len(names) - 12} more" if len(names) > 12 else shown


def place_of(error: ErrorDetails) -> Keys:
    """Where in the file an error of pydantic lies."""
    loc = untagged(error["loc"])
    if loc[-1] == "[key]" and loc[0] in NAMED and error["type"] != "extra_forbidden":
        return loc[:-1]
    if len(loc) > 3 and loc[0] == "part" and loc[2] in ("turns", "start", "open_layers"):
        return loc[:3]
    return loc


def untagged(loc: Keys) -> Keys:
    """A place without the kind of part that pydantic puts behind a part's number."""
    tagged = len(loc) > 2 and loc[0] == "part" and (loc[2] == "drawn" or loc[2] in PATTERN_TABLES)
    return (*loc[:2], *loc[3:]) if tagged else loc


def describe(error: ErrorDetails) -> tuple[str, str]:
    """What is wrong and what to do about it, in a maker's words.

    Parameters
    ----------
    error : dict
        One item of `pydantic.ValidationError.errors`.
    """
    kind, loc, value = error["type"], error["loc"], error["input"]
    if len(loc) == 3 and loc != untagged(loc):
        loc = loc[:2]  # the part as a whole
    context: Mapping[str, Any] = error.get("ctx", {})
    if kind == "extra_forbidden":
        return _unknown_key(loc, value)
    if kind == "missing":
        return _missing(loc)
    if kind in ("model_type", "dict_type", "list_type") and _is_table(loc):
        return _wrong_brackets(loc, value)
    if kind == "too_short" and len(loc) == 1:
        return _missing(loc)
    if kind in _KINDS:
        if isinstance(value, int) and not isinstance(value, bool) and kind == "float_type":
            return f"{show(value)} is far too large", ""
        return f"{show(value)} is not {_KINDS[kind]}", _KIND_TODO.get(kind) or _EXAMPLES.get(str(loc[-1]), "")
    if kind in ("greater_than_equal", "less_than_equal"):
        return _out_of_range(value, context)
    if kind in ("string_pattern_mismatch", "string_too_short", "string_too_long"):
        return _bad_text(loc, str(value), context)
    if kind in ("too_short", "too_long"):
        return _wrong_count(loc, value, context)
    if kind == "literal_error":
        if loc == ("build", "units"):
            return f"{show(value)} is not one of {context['expected']}", _unit_todo(value)
        choices = re.findall(r"'([^']*)'", context["expected"])
        return f"{show(value)} is not one of {context['expected']}", nearest(str(value), choices)
    if kind == "turns":
        return (
            "must be 'any', 'half', 'quarter', 'none' or a list of 1 to 360 angles from -360 to 360 degrees",
            'For example turns = "half" or turns = [0, 45, 90]',
        )
    if kind in _WANTED:
        return _WANTED[kind]
    if kind == "line":
        return str(context["why"]), LINE_TODO
    return f"{show(value)} can't be used here", ""


def _unit_todo(value: object) -> str:
    """What to write for a unit that build files don't have; the nearest word may be another length."""
    word = str(value).strip().lower()
    if word in ("inch", "inches", '"', "zoll"):
        return 'Write units = "in"'
    if word in ("millimetre", "millimetres", "millimeter", "millimeters"):
        return 'Write units = "mm"'
    many = {"cm": 10, "centimetre": 10, "centimetres": 10, "centimeter": 10, "centimeters": 10, "m": 1000}
    if word in many:
        return f'Write units = "mm" and all lengths in it: 1 {word.removesuffix("s")} is {many[word]} mm'
    if word in ("ft", "foot", "feet"):
        return 'Write units = "in" and all lengths in it: 1 foot is 12 in'
    return 'Write units = "mm" or units = "in", and all lengths in it'


_WANTED = {
    "size": (
        "must be a length from 0 to 100000, or the name of a piece of hardware",
        'For example 180, or "rod" when there is [hardware.rod]',
    ),
    "start": (
        "must be 'top', 'bottom', 'left', 'right' or a point",
        'For example start = "top" or start = [120, 0]',
    ),
    "open_layers": (
        "must be 'inner', 'all' or a list of layer numbers",
        'For example open_layers = "inner" or open_layers = [2, 3]',
    ),
}
_KINDS = {
    "float_type": "a number",
    "finite_number": "a finite number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "string_type": "a text",
    "list_type": "a list",
    "model_type": "a table",
    "dict_type": "a table",
}
_KIND_TODO = {
    "float_type": "Write it without quotes, for example 6 or 6.5",
    "int_type": "Write it without quotes and without a decimal point, for example 2",
    "bool_type": "Write true or false, without quotes",
    "string_type": "Put it between quotes",
}
_EXAMPLES = {
    "size": "For example size = [1200, 600]",
    "bed": "For example bed = [900, 600]",
    "finished": 'For example finished = { part = "blade", length = 1240 }',
}


def _nearest(wrong: str, right: Iterable[str]) -> str:
    # Comparing is slow, and a maker who mistypes a name has no thousands of them.
    by_lower = {name.lower(): name for name in islice(right, 300)}
    close = difflib.get_close_matches(wrong.lower()[:200], by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else ""


def _get(data: object, loc: Keys) -> Any:
    for key in loc:
        in_list = isinstance(data, list) and isinstance(key, int) and key < len(data)
        if not in_list and not (isinstance(data, Mapping) and key in data):
            return None
        data = data[key]  # type: ignore[index]
    return data


def _dotted(loc: Keys) -> str:
    text = ""
    for key in loc:
        if isinstance(key, int):
            text += f"[{key + 1}]"
        else:
            plain = re.fullmatch(r"[\w-]+", key) is not None
            text += ("." if text else "") + (key if plain else show(key))
    return text


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _model(loc: Keys) -> type[BaseModel]:
    """The model of the table that holds the key at ``loc``."""
    if len(loc) == 1:
        return tables.BuildFile
    if loc[:2] == ("build", "finished"):
        return tables.FinishedTable
    if loc[0] == "part" and len(loc) > 3 and loc[2] in PATTERN_TABLES:
        model = PATTERN_TABLES[str(loc[2])]
        return (
            WindowTable if len(loc) > 5 and loc[3] == "windows" and issubclass(model, PanelsBase) else model
        )
    return TABLES[str(loc[0])]


def _unknown_key(loc: Keys, value: object) -> tuple[str, str]:
    key = str(loc[-1])
    hint = nearest(key, _keys(_model(loc)))
    if len(loc) == 1:
        home = [
            f"[{name}]"
            for name in ("build", "layout", "cutter", "templates", "labels")
            if key in _keys(TABLES[name])
        ]
        if home and not hint:
            hint = f"It belongs under {home[0]}"
        return f"unknown table or key {show(key)}", hint
    if loc[0] == "part" and key == "pattern":
        near = nearest(value, PATTERN_TABLES) if isinstance(value, str) else ""
        return f"there is no pattern {show(value)}", near or f"The patterns are {listed(PATTERN_TABLES)}"
    if not hint:
        # What a [[foam]] may set for itself belongs in [cutter] first.
        homes = [name for name, other in TABLES.items() if name != "foam" and key in _keys(other)]
        hint = f"It belongs in {_brackets(homes[0])}" if len(homes) == 1 else ""
    return f"unknown key {show(key)}", hint or f"The keys here are {', '.join(_keys(_model(loc)))}"


def _is_table(loc: Keys) -> bool:
    return (
        len(loc) == 1
        or (len(loc) in (2, 3) and untagged(loc) != loc)
        or (len(loc) == 2 and (loc[0] in LISTS or loc[0] == "hardware"))
    )


def _brackets(section: str) -> str:
    return (
        f"[[{section}]]"
        if section in LISTS
        else "[hardware.NAME]"
        if section == "hardware"
        else f"[{section}]"
    )


_MISSING_TODO = {
    "build": 'Add [build] with name = "..."',
    "cutter": 'Add [cutter] with kind = "laser", "knife" or "hand"',
    "sheet": "Add a [[sheet]] table for each kind of sheet, with thickness and size",
    "part": "Add a [[part]] table for each part, with name, from and thickness",
}


def _missing(loc: Keys) -> tuple[str, str]:
    key = str(loc[-1])
    if len(loc) == 1:
        return f"there is no {_brackets(key)} table", _MISSING_TODO[key]
    field = next(f for name, f in _model(loc).model_fields.items() if (f.alias or name) == key)
    meaning = (field.description or "").split(". ")[0].rstrip(".")
    return "is missing", f"Add it: {meaning[:1].lower()}{meaning[1:]}"


def _wrong_brackets(loc: Keys, value: object) -> tuple[str, str]:
    section = str(loc[0])
    if len(loc) == 1 and section in LISTS and isinstance(value, Mapping):
        return "needs two brackets", f"Write [[{section}]]; each one is another {section}"
    if len(loc) == 1 and section not in LISTS and isinstance(value, list):
        return "there can be only one, with single brackets", f"Write {_brackets(section)}"
    if section == "hardware":
        return f"{show(value)} is not a table", "Write [hardware.rod] with diameter = 8 under it"
    return f"{show(value)} is not a table", f"Write {_brackets(section)} with its keys under it"


def _out_of_range(value: object, context: Mapping[str, Any]) -> tuple[str, str]:
    if "le" in context:
        return f"{show(value)} is too large; the most is {context['le']:g}", ""
    least = context["ge"]
    if 0 < least < 1:
        return f"{show(value)} is too small; it must be more than 0 (at least {least:g})", ""
    return f"{show(value)} is too small; the least is {least:g}", ""


def _bad_text(loc: Keys, value: str, context: Mapping[str, Any]) -> tuple[str, str]:
    if not value:
        return "is empty", "Write something between the quotes"
    if "max_length" in context:
        return f"{show(value)} is too long", f"Keep it within {context['max_length']} characters"
    if loc[0] == "lines" and loc[-1] != "[key]":
        return (
            f"{show(value)} is not a kind of line",
            LINE_TODO,
        )
    return (
        f"{show(value)} can't be used",
        "Leave out slashes, control characters and blanks at its start or end",
    )


def _wrong_count(loc: Keys, value: object, context: Mapping[str, Any]) -> tuple[str, str]:
    if len(loc) == 1:
        return f"there are more than {context['max_length']}", "Split the build into several files"
    if str(loc[-1]) not in _EXAMPLES:
        return "has the wrong number of values", "Write [x, y] for a point, [1, 3] for a list of panels"
    return "must be two numbers, width and height", _EXAMPLES[str(loc[-1])]
