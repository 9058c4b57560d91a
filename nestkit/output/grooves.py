"""Grooves as people read them: each different one once, with its sizes and its cross-section."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from nestkit.build.model import Build
from nestkit.cutting.etching import grooves_of, has_folds
from nestkit.cutting.model import Job
from nestkit.folds.groove import Groove
from nestkit.folds.steps import Steps
from nestkit.geometry import LineKind
from nestkit.output.text import plain, show_number
from nestkit.units import Unit, mm_per, show_gap

_WIDTH = 320.0
_SIDE = 34.0
_DIGITS = 2


@dataclass(eq=False)
class GrooveUse:
    """A groove that differs from every other one, and where it is found.

    Parameters
    ----------
    material, thickness : str, float
        Thickness in mm.
    groove : Groove
    steps : Steps
    etched, by_blade : bool
        How it is made; both when some of its parts are cut by hand.
    parts : dict of str to int
        How many of them are on one copy of each part.
    """

    material: str
    thickness: float
    groove: Groove
    steps: Steps
    etched: bool = False
    by_blade: bool = False
    parts: dict[str, int] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What it is called: ``fold 90``."""
        return f"{self.groove.kind.value} {show_number(math.degrees(self.groove.angle), 2)}"

    @property
    def wall(self) -> float:
        """How far its walls (a bevel's one wall) lean from upright, radians."""
        return self.groove.angle / (1.0 if self.groove.kind is LineKind.BEVEL else 2.0)

    @property
    def blade_out(self) -> float:
        """How far a blade that leans like the wall sticks out of its base, mm."""
        return self.steps.depth / math.cos(self.wall)


def grooves_in(build: Build, jobs: Sequence[Job]) -> list[GrooveUse]:
    """The different grooves of what is cut, thinnest foam first, then by kind and angle."""
    found: dict[tuple[object, ...], GrooveUse] = {}
    seen: set[tuple[str, bool]] = set()
    for job in jobs:
        etched = job.sheet.how == "laser"
        for placed in job.sheet.placed:
            part = placed.part
            if (part.name, etched) in seen or not has_folds(part):
                continue
            seen.add((part.name, etched))
            made = grooves_of(build, part)
            for groove in made.grooves:
                key = (part.material, part.thickness, groove.kind, round(math.degrees(groove.angle), 2))
                use = found.setdefault(key, GrooveUse(part.material, part.thickness, groove, made.steps))
                use.etched |= etched
                use.by_blade |= not etched
                if (part.name, not etched) not in seen:
                    use.parts[part.name] = use.parts.get(part.name, 0) + 1
    return sorted(
        found.values(), key=lambda use: (use.thickness, use.material, use.groove.kind.value, use.groove.angle)
    )


@dataclass(frozen=True, slots=True)
class SectionText:
    """A number in the drawing; ``anchor`` is the SVG text-anchor."""

    text: str
    x: str
    y: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Section:
    """A cross-section: path data of the foam, the V and the lines of its sizes."""

    view_box: str
    foam: str
    v: str
    sizes: str
    texts: tuple[SectionText, ...]


@dataclass(frozen=True, slots=True)
class GrooveRow:
    """A groove in the report."""

    name: str
    foam: str
    facts: tuple[str, ...]
    passes: tuple[str, ...]
    parts: str
    section: Section


def groove_rows(build: Build, jobs: Sequence[Job]) -> tuple[GrooveRow, ...]:
    """The different grooves with their sizes, in the build's unit."""
    return tuple(_row(use, build.unit) for use in grooves_in(build, jobs))


def groove_notes(build: Build, jobs: Sequence[Job]) -> tuple[str, ...]:
    """What to know before grooves are etched or cut with a blade."""
    uses = grooves_in(build, jobs)
    notes = []
    if any(use.etched for use in uses):
        notes.append(
            "Each layer POCKET_01, POCKET_02 ... is one pass and lies inside the one before. Etch them in "
            "this order. A full pass is one with the power and speed of your coupon; where a pass takes a "
            "share of that, keep the power and divide the speed by the share (at 50 %, twice as fast). A "
            "hole in an area is not etched."
        )
    if any(use.by_blade for use in uses):
        notes.append(
            "Where a blade makes the groove, the marks are its two lips (a bevel has one). Set the depth "
            "stop on a scrap of the same foam first: a blade that goes deeper cuts through the skin."
        )
    return tuple(notes)


def _row(use: GrooveUse, unit: Unit) -> GrooveRow:
    steps, groove = use.steps, use.groove
    facts = [
        f"{show_gap(groove.mouth, unit)} wide at the mouth",
        f"{show_gap(steps.depth, unit)} deep",
        f"{show_gap(steps.skin, unit)} skin",
    ]
    if use.etched:
        share = show_number(100.0 * steps.share, 0)
        facts.append(
            f"{steps.count} full passes"
            if share == "100"
            else f"{steps.count} passes at {share} % of a full pass"
        )
    if use.by_blade:
        lean = show_number(math.degrees(use.wall), 1)
        facts.append(f"blade leans {lean}° and sticks out {show_gap(use.blade_out, unit)}")
    passes = [
        f"{number}: {show_gap(width, unit)} wide, to {show_gap(depth, unit)}"
        for number, (width, depth) in enumerate(zip(groove.widths, steps.depths, strict=True), start=1)
    ]
    parts = ", ".join(f"{plain(name)} ({count})" for name, count in use.parts.items())
    foam = f"{plain(use.material)} {show_number(use.thickness / mm_per(unit), 3)} {unit}"
    return GrooveRow(
        use.name, foam, tuple(facts), tuple(passes) if use.etched else (), parts, section_of(use, unit)
    )


def section_of(use: GrooveUse, unit: Unit) -> Section:
    """The cross-section to scale: foam with its steps, the V behind them, mouth, depth and skin."""
    steps, groove = use.steps, use.groove
    bevel = groove.kind is LineKind.BEVEL
    sides = 1.0 if bevel else 2.0
    # Wide enough that a steep groove isn't drawn taller than a flat one.
    flank = max(0.8 * use.thickness, (2.6 * use.thickness - groove.mouth) / sides)
    whole = groove.mouth + flank * sides
    scale = (_WIDTH - 2.0 * _SIDE) / whole
    top = 26.0
    bottom = top + use.thickness * scale
    floor = top + steps.depth * scale
    # Where the fold's line is: in the middle of its groove, at a bevel's edge.
    line = _SIDE + (flank + (groove.mouth if bevel else groove.mouth / 2.0)) * scale
    halves = 1.0 if bevel else 2.0
    left = [(line - groove.mouth / halves * scale, top)] if not use.etched else []
    if use.etched:
        above = top
        for width, depth in zip(groove.widths, steps.depths, strict=True):
            x = line - width / halves * scale
            left += [(x, above), (x, top + depth * scale)]
            above = top + depth * scale
    right = [] if bevel else [(2.0 * line - x, y) for x, y in reversed(left)]
    edge = line if bevel else _WIDTH - _SIDE
    tip = [(line, floor)] if bevel or not use.etched else []
    foam = [(_SIDE, top), *left, *tip, *right]
    foam += [(edge, bottom)] if bevel else [(edge, top), (edge, bottom)]
    foam += [(_SIDE, bottom)]
    mouth = (line - groove.mouth / halves * scale, line if bevel else line + groove.mouth / 2.0 * scale)
    v = [(mouth[0], top), (line, floor), *([] if bevel else [(mouth[1], top)])]
    sizes = [
        ((mouth[0], 16.0), (mouth[1], 16.0)),
        ((18.0, top), (18.0, floor)),
        ((_WIDTH - 18.0, floor), (_WIDTH - 18.0, bottom)),
    ]
    texts = (
        SectionText(show_gap(groove.mouth, unit), _n(sum(mouth) / 2.0), "11", "middle"),
        SectionText(f"{show_gap(steps.depth, unit)} deep", "2", _n(bottom + 14.0), "start"),
        SectionText(f"skin {show_gap(steps.skin, unit)}", _n(_WIDTH - 2.0), _n(bottom + 14.0), "end"),
    )
    ticks = "".join(_ticked(a, b) for a, b in sizes)
    view_box = f"0 0 {_n(_WIDTH)} {_n(bottom + 20.0)}"
    return Section(view_box, _data(foam, True), _data(v, False), ticks, texts)


def _n(value: float) -> str:
    return show_number(value, _DIGITS)


def _data(points: Iterable[tuple[float, float]], closed: bool) -> str:
    joined = "L".join(f"{_n(x)},{_n(y)}" for x, y in points)
    return f"M{joined}{'Z' if closed else ''}"


def _ticked(a: tuple[float, float], b: tuple[float, float]) -> str:
    """A line of a size with a short stroke across each of its ends."""
    (x0, y0), (x1, y1) = a, b
    dx, dy = (0.0, 4.0) if y0 == y1 else (4.0, 0.0)
    ends = [[(x - dx, y - dy), (x + dx, y + dy)] for x, y in (a, b)]
    return "".join(_data(line, False) for line in ([(x0, y0), (x1, y1)], *ends))
