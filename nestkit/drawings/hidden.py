"""What a drawing hides: left out, and told to those who asked for the part it belongs to."""

from __future__ import annotations

from dataclasses import replace
from xml.etree.ElementTree import Element

from nestkit.drawings.kinds import names_and_befores
from nestkit.drawings.model import Drawing, Hidden
from nestkit.drawings.svg_place import Place
from nestkit.drawings.svg_shapes import SHAPES
from nestkit.drawings.svg_source import local_name
from nestkit.errors import Finding
from nestkit.words import counted

#: Elements whose content is drawn where they stand; in the others (defs, clips) it waits for its use.
_DRAWN = frozenset(("g", "a", "switch", "svg"))
_LINES = SHAPES | {"path", "use"}


def lines_in(element: Element) -> int:
    """How many lines, or copies of some, are drawn by an element and those in it."""
    count, waiting = 0, [element]
    while waiting:
        one = waiting.pop()
        tag = local_name(one.tag) if isinstance(one.tag, str) else ""
        if tag in _LINES:
            count += 1
        elif tag in _DRAWN:
            waiting.extend(one)
    return count


class HiddenLines:
    """Collects what is switched off while a drawing is walked."""

    def __init__(self) -> None:
        self._found: list[Hidden] = []

    def add(self, subject: str, names: tuple[str, ...], lines: int = 0) -> int:
        """Something that hides so many lines; its number, under which `count` adds more."""
        self._found.append(Hidden(subject, lines, names))
        return len(self._found) - 1

    def count(self, place: Place) -> None:
        """A line, or a copy of some, that would be drawn at a place which is hidden."""
        if place.veil >= 0 and not place.uses:
            veil = self._found[place.veil]
            self._found[place.veil] = replace(veil, lines=veil.lines + 1)

    def found(self) -> tuple[Hidden, ...]:
        """All that hides any line."""
        return tuple(hidden for hidden in self._found if hidden.lines)


def hidden_findings(drawing: Drawing, wanted: str | None) -> tuple[Finding, ...]:
    """What is hidden of the part asked for; of the whole drawing when ``wanted`` is None or empty."""
    every = [one for one in drawing.hidden if not wanted or goes_by(one, wanted)]
    return tuple(told(one, drawing.file) for one in every)


def goes_by(hidden: Hidden, wanted: str) -> bool:
    """Whether a part of this name would have what is hidden."""
    key = wanted.casefold()
    return key in {name.casefold() for name in names_and_befores(hidden.names)}


def told(hidden: Hidden, file: str) -> Finding:
    """That it is left out, and what to do about it."""
    return Finding(
        "hidden-lines",
        f"hidden {hidden.subject} ({counted(hidden.lines, 'line')}) is left out",
        "Show it in your drawing program if it should count.",
        file=file,
    )
