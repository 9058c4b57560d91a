"""Which drawn line is what: cut, mark, fold, bevel or guide.

Without any table a line's layer or group says it with its name, or with the end of its name:

=================  =====================================================
``cut``            cut through (also what a line is when nothing says so)
``mark``           drawn on the part, not cut through
``fold 90``        folded by this angle in degrees (0 = flat)
``bevel 45``       the edge along this line is thinned at this angle
``guide``          ignored
=================  =====================================================

Upper or lower case is the same. What stands before, parted by a space, ``-``, ``_`` or ``.``, is a name by
which a part may be asked for: layer ``bracket-mark`` holds the marks of ``bracket``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from nestkit.drawings.model import DrawnPath
from nestkit.errors import InputError, Problem
from nestkit.geometry import LineKind

LineRule = tuple[LineKind, float]

#: What to do about a kind that is not understood.
LINE_TODO = "Write for example cut, mark, guide, fold 90 or bevel 45"

_ANGLED = (LineKind.FOLD, LineKind.BEVEL)
_RULE = re.compile(
    r"(?:(?P<before>.*?)[\s\-_.]+)?"
    r"(?:(?P<plain>cut|mark|guide)|(?P<angled>fold|bevel)(?:[\s\-_]*(?P<angle>\d+(?:\.\d+)?)\s*(?:°|deg)?)?)",
    re.IGNORECASE | re.DOTALL,
)
#: Names that are all but a rule: 'folds 60', 'fold line 60', '60 deg folds', 'folding 60 deg', 'crease 60'.
_NEARLY = re.compile(
    r"(?:(?P<before>.*?)[\s\-_.]+)??(?:(?P<first>\d+(?:\.\d+)?)\s*(?:°|deg|degrees?)?[\s\-_]*)?"
    r"(?:(?P<kind>fold|bevel)(?:s|ed|ing|ings)?|creases?|scores?)(?:[\s\-_]*(?:lines?|layer))?"
    r"(?:[\s\-_:=]*(?P<angle>\d+(?:\.\d+)?)\s*(?:°|deg|degrees?)?)?(?:[\s\-_]*lines?)?",
    re.IGNORECASE | re.DOTALL,
)
_WRITTEN = re.compile(r"(?P<kind>[a-z]+)(?:\s*(?P<angle>\S.*?)\s*(?:°|deg)?)?", re.IGNORECASE)
_COLOUR = re.compile(r"#[0-9a-f]{6}")
_BELOW = {LineKind.FOLD: 180.0, LineKind.BEVEL: 90.0}


@dataclass(frozen=True, slots=True)
class NamedRule:
    """What a layer's or group's name says by itself.

    Parameters
    ----------
    before : str
        The name without its ending: how the part is called; may be empty.
    kind : LineKind
        A fold or bevel whose angle is missing or cannot be is a mark: nothing is cut or folded wrongly.
    angle : float, radians
    fault : str
        What is wrong with the name; empty when nothing is.
    """

    before: str
    kind: LineKind
    angle: float = 0.0
    fault: str = ""


@lru_cache(maxsize=4096)
def named_rule(name: str) -> NamedRule | None:
    """What ``name`` says by its default ending, or None when it says nothing.

    Examples
    --------
    >>> named_rule("bracket-mark")
    NamedRule(before='bracket', kind=<LineKind.MARK: 'mark'>, angle=0.0, fault='')
    >>> named_rule("roof fold").fault
    "'roof fold' names no angle"
    """
    match = _RULE.fullmatch(name.strip()) if len(name) < 1000 else None
    if match is None:
        return None
    before, degrees = (match["before"] or "").strip(" -_."), match["angle"]
    if match["plain"]:
        return NamedRule(before, LineKind(match["plain"].lower()))
    kind = LineKind(match["angled"].lower())
    if degrees is None:
        return NamedRule(before, LineKind.MARK, fault=f"'{name}' names no angle")
    try:
        return NamedRule(before, kind, _radians(kind, float(degrees)))
    except ValueError as error:
        return NamedRule(before, LineKind.MARK, fault=f"'{name}': {error}")


def _radians(kind: LineKind, degrees: float) -> float:
    if not 0.0 <= degrees < _BELOW[kind]:
        raise ValueError(f"a {kind} angle is from 0 to below {_BELOW[kind]:.0f} degrees")
    return math.radians(degrees)


def parse_rule(text: str) -> LineRule:
    """Reads what a build file's ``[lines]`` table says of a layer or colour: ``"cut"``, ``"fold 60"``.

    Returns
    -------
    (LineKind, float)
        The kind and its angle in radians, 0 for kinds without one.

    Raises
    ------
    ValueError
        With a message for the maker.

    Examples
    --------
    >>> parse_rule("mark")
    (<LineKind.MARK: 'mark'>, 0.0)
    >>> kind, angle = parse_rule("Fold 60")
    >>> round(math.degrees(angle))
    60
    """
    match = _WRITTEN.fullmatch(text.strip())
    word = match["kind"].lower() if match else ""
    if match is None or word not in list(LineKind):
        raise ValueError(f"'{text}' is no kind of line")
    kind, degrees = LineKind(word), match["angle"]
    if kind not in _ANGLED:
        if degrees is not None:
            raise ValueError(f"'{text}': a {kind} line has no angle")
        return kind, 0.0
    if degrees is None:
        raise ValueError(f"'{text}' needs its angle in degrees")
    try:
        value = float(degrees)
    except ValueError:
        raise ValueError(f"'{text}': '{degrees}' is no number of degrees") from None
    return kind, _radians(kind, value)


@dataclass(frozen=True, slots=True)
class LineRules:
    """The build file's ``[lines]`` table.

    Parameters
    ----------
    by_name : mapping of str to (LineKind, angle)
        Keys in lower case: layer or group names.
    by_colour : mapping of str to (LineKind, angle)
        Keys ``#rrggbb`` in lower case.
    """

    by_name: Mapping[str, LineRule] = field(default_factory=dict)
    by_colour: Mapping[str, LineRule] = field(default_factory=dict)

    @classmethod
    def parse(cls, table: Mapping[str, str], where: str = "lines") -> LineRules:
        """The rules that a table of layer names or colours to kinds gives.

        Raises
        ------
        InputError
            With every wrong row, each under ``where['key']``.
        """
        names: dict[str, LineRule] = {}
        colours: dict[str, LineRule] = {}
        problems = []
        for key, text in table.items():
            plain = key.strip().casefold()
            is_colour = plain.startswith("#")
            if is_colour and not (plain := _colour(plain)):
                what = "a colour is written #rrggbb"
                problems.append(Problem(f"{where}['{key}']", what, "Write for example #ff0000"))
                continue
            try:
                (colours if is_colour else names)[plain] = parse_rule(text)
            except ValueError as error:
                problems.append(Problem(f"{where}['{key}']", str(error), LINE_TODO))
        if problems:
            raise InputError(problems)
        return cls(names, colours)


def _colour(text: str) -> str:
    """``text`` as #rrggbb; empty when it is no colour."""
    if len(text) == 4:
        text = "#" + "".join(letter * 2 for letter in text[1:])
    return text if _COLOUR.fullmatch(text) else ""


#: No table: the names' endings alone.
NO_RULES = LineRules()


def kind_of(drawn: DrawnPath, rules: LineRules = NO_RULES) -> LineRule:
    """What a drawn line is.

    The innermost name that says something decides, and for one name the table before its ending; where no
    name says anything, the colour does by the table; else the line is cut.

    Returns
    -------
    (LineKind, float)
        The kind and its angle in radians, 0 for kinds without one.
    """
    for name in drawn.names:
        if rules.by_name and (told := rules.by_name.get(name.strip().casefold())) is not None:
            return told
        if (named := named_rule(name)) is not None:
            return named.kind, named.angle
    return rules.by_colour.get(drawn.colour, (LineKind.CUT, 0.0))


def fault_of(drawn: DrawnPath, rules: LineRules = NO_RULES) -> str:
    """What is wrong with the name that decides what ``drawn`` is; empty when nothing is."""
    for name in drawn.names:
        if name.strip().casefold() in rules.by_name:
            return ""
        if (named := named_rule(name)) is not None:
            return named.fault
    return ""


def part_names(drawn: DrawnPath) -> tuple[str, ...]:
    """Every name by which a part may be asked for: `DrawnPath.names` and what stands before their endings."""
    return names_and_befores(drawn.names)


def names_and_befores(names: tuple[str, ...]) -> tuple[str, ...]:
    """Names, and what stands before their endings: ``bracket`` for ``bracket-mark``."""
    befores = (named.before for name in names if (named := named_rule(name)) is not None)
    return (*names, *(before for before in befores if before))


def meant_rule(name: str) -> str:
    """How a name that says nothing was most likely meant: ``claw fold 60`` for ``claw folds 60``."""
    match = _NEARLY.fullmatch(name.strip()) if len(name) < 100 and named_rule(name) is None else None
    if match is None:
        return ""
    kind = (match["kind"] or "fold").lower()
    before = f"{match['before'].strip(' -_.')} " if match["before"] else ""
    return f"{before}{kind} {match['first'] or match['angle'] or '90'}"
