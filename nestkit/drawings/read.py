"""A drawing read by its kind, and the parts asked for taken from it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path as FilePath

from nestkit.drawings.assemble import assemble
from nestkit.drawings.hidden import goes_by, hidden_findings
from nestkit.drawings.join import JOIN
from nestkit.drawings.kinds import NO_RULES, LineRules, names_and_befores, part_names
from nestkit.drawings.model import Drawing, DrawnPath
from nestkit.errors import LONGEST_NAME, DrawingError, Finding, Problem, printable
from nestkit.geometry import FLATNESS, Shape
from nestkit.units import Unit, show_place, show_size

#: Findings that leave an outline uncertain: a part with one of them is refused.
UNCERTAIN = frozenset({"open-outline", "branching-outline", "crossing-outline"})

_SUFFIXES = {".svg": "svg", ".svgz": "svg", ".dxf": "dxf"}
_MOST_LISTED = 8


def read_drawing(file: FilePath, name: str | None = None, tolerance: float = FLATNESS) -> Drawing:
    """Reads an SVG or DXF file; what it holds decides, not its suffix.

    Parameters
    ----------
    file : pathlib.Path
    name : str, optional
        How messages call the file; its own name when not given.
    tolerance : float, mm
        Curves that are no arcs are flattened within this.

    Raises
    ------
    DrawingError
        When there is no such file (the nearest names are told), or nothing in it can be used.
    """
    shown = name or file.name
    try:
        there = file.exists()
    except (OSError, ValueError):  # too long a name, or one that no file can have
        there = False
    if not there:
        raise DrawingError.one(shown, "there is no such file", _nearest_files(file))
    if not file.is_file():
        raise DrawingError.one(shown, "is no file", "Name an SVG or DXF file")
    kind = _kind(file, shown)
    if kind == "dxf":
        from nestkit.drawings.dxf import read_dxf

        return read_dxf(file, shown, tolerance)
    from nestkit.drawings.svg import read_svg

    return read_svg(file, shown, tolerance)


def _kind(file: FilePath, shown: str) -> str:
    """`svg` or `dxf`, by the file's first bytes, then by its suffix."""
    try:
        with file.open("rb") as stream:
            head = stream.read(1024)
    except OSError as error:
        what = f"can't be read: {error.strerror or error}"
        raise DrawingError.one(shown, what, "See that you may read it") from error
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if text.startswith((b"<", b"\x1f\x8b")):
        return "svg"
    words = text.split()[:2]
    # Group code 999 is a comment, which some programs write first.
    if text.startswith(b"AutoCAD Binary DXF") or words == [b"0", b"SECTION"] or words[:1] == [b"999"]:
        return "dxf"
    kind = _SUFFIXES.get(file.suffix.lower())
    if kind is None:
        raise DrawingError.one(shown, "is neither SVG nor DXF", "Save the drawing as SVG or DXF")
    return kind


def _nearest_files(file: FilePath) -> str:
    try:
        there = sorted(other.name for other in file.parent.iterdir() if other.suffix.lower() in _SUFFIXES)
    except (OSError, ValueError):
        return "There is no such folder either"
    if not there:
        return "There is no SVG or DXF file in that folder"
    near = difflib.get_close_matches(file.name, there, n=3, cutoff=0.5)
    return f"Did you mean {_listed(near)}?" if near else f"There is {_listed(there)}"


def _listed(names: Iterable[str]) -> str:
    every = [f"'{printable(name, LONGEST_NAME)}'" for name in names]
    more = f" and {len(every) - _MOST_LISTED} more" if len(every) > _MOST_LISTED else ""
    return ", ".join(every[:_MOST_LISTED]) + more


def select(drawing: Drawing, wanted: str | None) -> tuple[DrawnPath, ...]:
    """The drawing's paths that go by a name: a layer, group, block or id.

    Parameters
    ----------
    drawing : Drawing
    wanted : str or None
        None or empty takes the whole drawing. Upper and lower case are told apart only if both are there.
        The name of a layer or group counts before a single path's id. What stands before an ending like
        ``-mark`` or ``fold 60`` is a name as well (see `kinds`).

    Raises
    ------
    DrawingError
        When nothing goes by the name (near ones are told), or the drawing is empty.
    """
    if not drawing.paths:
        what = "there is no line in the drawing that can be used"
        todo = "Draw outlines as paths in it"
        raise DrawingError([Problem(drawing.file, what, todo), *_as_problems(drawing.file, drawing.findings)])
    if not wanted:
        return drawing.paths
    named = [(drawn, part_names(drawn)) for drawn in drawing.paths]
    # Of something that is drawn and copied elsewhere, its name means the one drawn.
    own = [(d, names_and_befores(d.names[d.copied :])) for d in drawing.paths]
    for fold in (str, str.casefold):
        key = fold(wanted)
        for some in (own, named):
            groups = [d for d, names in some if key in {fold(n) for n in names if n != d.id}]
            if found := groups or [d for d, names in some if key in {fold(n) for n in names}]:
                return tuple(found)
    if any(goes_by(hidden, wanted) for hidden in drawing.hidden):
        what = f"all that is called '{wanted}' is hidden in the drawing"
        raise DrawingError.one(drawing.file, what, "Show it in your drawing program")
    there = dict.fromkeys(n for d, names in named for n in reversed(names) if n != d.id and n[:1] != "*")
    every = [*there, *(d.id for d in drawing.paths if d.id)]
    near = difflib.get_close_matches(wanted, every, n=3, cutoff=0.6)
    todo = f"Did you mean {_listed(near)}?" if near else f"There is {_listed(there or every)}"
    raise DrawingError.one(drawing.file, f"nothing in the drawing is called '{wanted}'", todo)


def _as_problems(where: str, findings: Iterable[Finding]) -> list[Problem]:
    problems = []
    for finding in findings:
        if not finding.mended:
            layer, ident = (printable(name, LONGEST_NAME) for name in (finding.layer, finding.id))
            names = (layer and f"layer '{layer}'", ident and f"id '{ident}'")
            at = f" at {show_place(finding.at, finding.unit)}" if finding.at else ""
            place = ", ".join((where, *(name for name in names if name))) + at
            problems.append(Problem(place, finding.text, finding.todo.removesuffix(".")))
    return problems


def part_shape(
    drawing: Drawing,
    wanted: str | None = None,
    rules: LineRules = NO_RULES,
    join: float = JOIN,
    unit: Unit = "mm",
) -> tuple[Shape, tuple[Finding, ...]]:
    """The one shape that a part is.

    Parameters
    ----------
    drawing : Drawing
    wanted : str or None
        As in `select`.
    rules : LineRules
    join : float, mm
    unit : "mm" or "in"
        In which findings and errors speak.

    Returns
    -------
    shape, findings
        In the drawing's coordinates and size; the findings are of this part, not those of `drawing`.

    Raises
    ------
    DrawingError
        When there is no outline, or more than one, or it is open, branches or crosses; all places are told.
    """
    where = f"{drawing.file}#{wanted}" if wanted else drawing.file
    assembled = assemble(select(drawing, wanted), rules, join, drawing.file, unit)
    hidden = hidden_findings(drawing, wanted)
    uncertain = [finding for finding in assembled.findings if finding.code in UNCERTAIN]
    problems = _as_problems(where, uncertain)
    if not problems and len(assembled.shapes) != 1:
        problems = [_not_one(where, assembled.shapes, unit)]
        if not assembled.shapes:
            problems += _as_problems(where, (*assembled.findings, *hidden))
    if problems:
        raise DrawingError(problems)
    return assembled.shapes[0], (*assembled.findings, *hidden)


def _not_one(where: str, shapes: tuple[Shape, ...], unit: Unit) -> Problem:
    if not shapes:
        return Problem(where, "there is no closed outline to cut", "Draw the part's edge as a closed path")
    places = []
    for shape in shapes[:_MOST_LISTED]:
        x, y, _, _ = shape.outline.bounds
        places.append(f"{show_size(*shape.outline.size, unit)} at {show_place((x, y), unit)}")
    more = f" and {len(shapes) - _MOST_LISTED} more" if len(shapes) > _MOST_LISTED else ""
    return Problem(
        where,
        f"a part has one outline, but there are {len(shapes)}: {'; '.join(places)}{more}",
        "Give each outline a layer, group or id of its own and name it after '#'",
    )
