"""The drawings that a build file names: found, read once, and asked for its parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from nestkit.build.convert import in_mm
from nestkit.build.draft import Draft
from nestkit.build.mistakes import Mistakes, nearest
from nestkit.build.tables import DrawingUnit
from nestkit.drawings.join import JOIN
from nestkit.drawings.kinds import LineRules
from nestkit.drawings.model import Drawing
from nestkit.drawings.read import part_shape, read_drawing, select
from nestkit.errors import Finding, InputError
from nestkit.geometry import Shape
from nestkit.units import MM_PER_CSS_UNIT, MM_PER_INSUNITS

_MM_PER_UNIT = MM_PER_CSS_UNIT | {"m": MM_PER_INSUNITS[6], "ft": MM_PER_INSUNITS[2]}
#: Findings of a drawing whose unit the build file may name.
_NO_UNIT = ("unit-missing", "unit-pixels")


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

    def __init__(self, draft: Draft, folder: Path, mistakes: Mistakes) -> None:
        self._draft = draft
        self._mistakes = mistakes
        self._rules = _line_rules(draft, mistakes)
        self._folder = self._drawings_folder(folder)
        self._read: dict[tuple[str, float], Drawing | None] = {}
        self._useless: set[str] = set()
        self._join = in_mm(draft.file.build.join, draft.unit, JOIN)

    def piece(self, index: int, tolerance: float) -> Piece | None:
        """What part ``index`` is cut from, its curves flattened within ``tolerance`` mm.

        None when there is nothing to be had, which has gone to the mistakes then.
        """
        if self._folder is None or not self._draft.sure("part", index, "from"):
            return None
        part = self._draft.file.part[index]
        name, hash_sign, wanted = part.source.partition("#")
        loc = ("part", index, "from")
        if not name or (hash_sign and not wanted):
            self._mistakes.add(
                loc,
                f"'{part.source}' names no {'id or layer behind' if name else 'drawing before'} the '#'",
                "Write it as file.svg#id-or-layer",
            )
            return None
        drawing = self._drawing(name, index, tolerance)
        if drawing is None:
            return None
        try:
            if self._rules is None:
                select(drawing, wanted)
                return None
            shape, findings = part_shape(drawing, wanted, self._rules, self._join)
        except InputError as error:
            self._tell(index, error)
            return None
        named = self._draft.file.drawing_units.get(name)
        if named and _lacks_unit(drawing):
            shape = shape.scaled(_factor(self._folder / name, named))
        return Piece(shape, tuple(findings))

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

    def _drawings_folder(self, folder: Path) -> Path | None:
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

    def _drawing(self, name: str, index: int, tolerance: float) -> Drawing | None:
        key = (name, tolerance)
        if key not in self._read:
            self._read[key] = None if name in self._useless else self._open(name, index, tolerance)
        return self._read[key]

    def _open(self, name: str, index: int, tolerance: float) -> Drawing | None:
        assert self._folder is not None
        file = self._folder / name
        try:
            # Curves must stay as close once the unit that the build file names stretches them.
            named = self._draft.file.drawing_units.get(name)
            return read_drawing(file, name, tolerance=tolerance / (_factor(file, named) if named else 1.0))
        except InputError as error:
            self._tell(index, error)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            self._mistakes.add(("part", index, "from"), f"'{name}' can't be read: {reason}")
        self._useless.add(name)
        return None

    def _tell(self, index: int, error: InputError) -> None:
        for problem in error.problems:
            self._mistakes.add(("part", index, "from"), f"{problem.where}: {problem.what}", problem.todo)


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


def _factor(file: Path, unit: DrawingUnit) -> float:
    """What a drawing that names no unit is stretched by when the build file names it."""
    assumed = "mm" if file.suffix.lower() == ".dxf" else "px"
    return _MM_PER_UNIT[unit] / _MM_PER_UNIT[assumed]
