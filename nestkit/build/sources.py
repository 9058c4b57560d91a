"""The drawings that a build file names: found, read once, and asked for its parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

from nestkit.build.convert import in_mm
from nestkit.build.draft import Draft
from nestkit.build.mistakes import Mistakes, nearest
from nestkit.build.places import Keys
from nestkit.build.tables import DrawingUnit
from nestkit.drawings import JOIN, Drawing, LineRules, join_paths, part_shape, read_drawing, select
from nestkit.errors import Finding, InputError
from nestkit.geometry import Path, Shape
from nestkit.geometry.affine import scaling
from nestkit.units import MM_PER_CSS_UNIT, MM_PER_INSUNITS

_MM_PER_UNIT = MM_PER_CSS_UNIT | {"m": MM_PER_INSUNITS[6], "ft": MM_PER_INSUNITS[2]}
#: Findings of a drawing whose unit the build file may name.
_NO_UNIT = ("unit-missing", "unit-pixels", "unit-ambiguous")


@dataclass(frozen=True, eq=False)
class Piece:
    """What a drawing holds for one part: drawn size, mm, and what was noticed about it."""

    shape: Shape
    findings: tuple[Finding, ...]


class Sources:
    """The drawings of one build file.

    Parameters
    ----------
    draft : Draft
    folder : pathlib.Path
        Where the build file is.
    mistakes : Mistakes
        Takes what is wrong with a drawing, or with what is asked of it.
    """

    def __init__(self, draft: Draft, folder: FilePath, mistakes: Mistakes) -> None:
        self._draft = draft
        self._mistakes = mistakes
        self._rules = _line_rules(draft, mistakes)
        self._folder = self._drawings_folder(folder)
        self._read: dict[tuple[str, float], Drawing | None] = {}
        self._useless: set[str] = set()
        self._join = in_mm(draft.file.build.join, draft.unit, JOIN)

    def piece(self, loc: Keys, text: str, tolerance: float) -> Piece | None:
        """What ``text`` ('file.svg#id') at ``loc`` names, its curves flattened within ``tolerance`` mm.

        None when there is nothing to be had, which has gone to the mistakes then.
        """
        found = self._named(loc, text, tolerance)
        if found is None:
            return None
        name, drawing, wanted = found
        try:
            if self._rules is None:
                select(drawing, wanted)
                return None
            shape, findings = part_shape(drawing, wanted, self._rules, self._join, self._draft.unit)
        except InputError as error:
            self._tell(loc, error)
            return None
        return Piece(shape.scaled(self._unit_factor(name, drawing)), tuple(findings))

    def closed_paths(self, loc: Keys, text: str, tolerance: float) -> tuple[Path, ...] | None:
        """Every closed outline that ``text`` names, in the drawing's coordinates; None after a mistake."""
        return self._paths(loc, text, tolerance, closed=True)

    def open_path(self, loc: Keys, text: str, tolerance: float) -> Path | None:
        """The one open line that ``text`` names, whatever kind of line it is; None after a mistake."""
        found = self._paths(loc, text, tolerance, closed=False)
        if found is not None and len(found) > 1:
            self._mistakes.add(loc, f"'{text}' names {len(found)} lines, and one is needed", "Join them")
            return None
        return found[0] if found else None

    def _paths(self, loc: Keys, text: str, tolerance: float, closed: bool) -> tuple[Path, ...] | None:
        found = self._named(loc, text, tolerance)
        if found is None:
            return None
        name, drawing, wanted = found
        try:
            joined = join_paths(select(drawing, wanted), self._join)
        except InputError as error:
            self._tell(loc, error)
            return None
        factor = scaling(self._unit_factor(name, drawing))
        paths = [drawn.path.transformed(factor) for drawn in (joined.closed if closed else joined.open)]
        if not paths:
            what = "closed outline" if closed else "open line"
            article = "a" if closed else "an"
            self._mistakes.add(
                loc, f"'{text}' names no {what}", f"Name an id or layer that holds {article} {what}"
            )
            return None
        return tuple(paths)

    def _named(self, loc: Keys, text: str, tolerance: float) -> tuple[str, Drawing, str] | None:
        """The drawing's name, the drawing, and what is asked of it."""
        if self._folder is None or not self._draft.sure(*loc[:3]):
            return None
        name, hash_sign, wanted = text.partition("#")
        if not name or (hash_sign and not wanted):
            self._mistakes.add(
                loc,
                f"'{text}' names no {'id or layer behind' if name else 'drawing before'} the '#'",
                "Write it as file.svg#id-or-layer",
            )
            return None
        drawing = self._drawing(name, loc, tolerance)
        return None if drawing is None else (name, drawing, wanted)

    def _unit_factor(self, name: str, drawing: Drawing) -> float:
        """What the build file's unit stretches a drawing by that names none."""
        named = self._draft.file.drawing_units.get(name)
        assert self._folder is not None
        return _factor(self._folder / name, named) if named and _lacks_unit(drawing) else 1.0

    def files(self) -> tuple[FilePath, ...]:
        """The drawings that were read, sorted."""
        names = sorted({name for (name, _), drawing in self._read.items() if drawing is not None})
        return tuple(self._folder / name for name in names) if self._folder is not None else ()

    def findings(self) -> tuple[Finding, ...]:
        """What was noticed about whole drawings, and rows of the build file's tables that nothing uses."""
        found: list[Finding] = []
        drawings = {name: drawing for (name, _), drawing in self._read.items() if drawing is not None}
        units = self._draft.file.drawing_units
        for name, drawing in drawings.items():
            found.extend(f for f in drawing.findings if not (f.code in _NO_UNIT and name in units))
            if name in units and not _lacks_unit(drawing):
                found.append(
                    self._unused(f"'{name}' under [drawing_units] names its own unit, which is used")
                )
        found.extend(
            self._unused(
                f"no part is drawn in '{name}', which stands under [drawing_units]", nearest(name, drawings)
            )
            for name in units
            if name not in drawings
        )
        if self._rules is not None:
            found.extend(self._unused_rules(self._rules, list(drawings.values())))
        return tuple(found)

    def _unused_rules(self, rules: LineRules, drawings: Sequence[Drawing]) -> Iterator[Finding]:
        paths = [path for drawing in drawings for path in drawing.paths]
        names = sorted({name.strip() for path in paths for name in (path.layer, *path.names)})
        colours = {path.colour for path in paths}
        folded = {name.casefold() for name in names}
        for name in rules.by_name:
            if name not in folded:
                text = f"no drawing has a layer or group '{name}', which stands under [lines]"
                yield self._unused(text, nearest(name, names))
        for colour in rules.by_colour:
            if colour not in colours:
                yield self._unused(
                    f"no drawing has a line of the colour '{colour}', which stands under [lines]"
                )

    def _unused(self, text: str, todo: str = "") -> Finding:
        return Finding("unused-row", text, todo, file=self._mistakes.file)

    def _drawings_folder(self, folder: FilePath) -> FilePath | None:
        named = self._draft.file.build.drawings
        try:
            if (folder / named).is_dir():
                return folder / named
        except OSError:
            pass  # too long a name, for one; it is no folder either way
        self._mistakes.add(
            ("build", "drawings"),
            f"there is no folder '{named}'",
            f"It is looked for in {folder.resolve()}",
        )
        return None

    def _drawing(self, name: str, loc: Keys, tolerance: float) -> Drawing | None:
        key = (name, tolerance)
        if key not in self._read:
            self._read[key] = None if name in self._useless else self._open(name, loc, tolerance)
        return self._read[key]

    def _open(self, name: str, loc: Keys, tolerance: float) -> Drawing | None:
        assert self._folder is not None
        file = self._folder / name
        try:
            # Curves must stay as close once the unit that the build file names stretches them.
            named = self._draft.file.drawing_units.get(name)
            drawing = read_drawing(file, name, tolerance / (_factor(file, named) if named else 1.0))
            told = tuple(replace(finding, unit=self._draft.unit) for finding in drawing.findings)
            return replace(drawing, findings=told)
        except InputError as error:
            self._tell(loc, error)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            self._mistakes.add(loc, f"'{name}' can't be read: {reason}")
        self._useless.add(name)
        return None

    def _tell(self, loc: Keys, error: InputError) -> None:
        for problem in error.problems:
            self._mistakes.add(loc, f"{problem.where}: {problem.what}", problem.todo)


def _line_rules(draft: Draft, mistakes: Mistakes) -> LineRules | None:
    """The rules for lines; None when a row is wrong: what it is about would be cut, and told as a mistake."""
    table = draft.file.lines
    faults = [key for key in draft.doubtful if key[0] == "lines"]
    for key, kind in table.items():
        try:
            LineRules.parse({key: kind})
        except InputError as error:
            faults.append(("lines", key))
            for problem in error.problems:
                mistakes.add(("lines", key), problem.what, problem.todo)
    return None if faults else LineRules.parse(table)


def _lacks_unit(drawing: Drawing) -> bool:
    return any(finding.code in _NO_UNIT for finding in drawing.findings)


def _factor(file: FilePath, unit: DrawingUnit) -> float:
    """What a drawing that names no unit is stretched by when the build file names it."""
    assumed = "mm" if file.suffix.lower() == ".dxf" else "px"
    return _MM_PER_UNIT[unit] / _MM_PER_UNIT[assumed]
