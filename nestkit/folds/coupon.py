"""A coupon: a small sheet that is cut and measured, from which a cutter's settings for a foam follow.

It has a kerf comb (plugs that are put into an opening of their own nominal length: what stays open is one
kerf for each cut), a depth staircase (squares of 1, 2, ... passes), and two rows of strips with a fold:
one with the skin stepped by single passes, one with the width stepped. The skin that is asked for lies
between the skins of the row: where a whole pass more would leave none, the last pass is a lighter one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from nestkit.folds.figures import figures, figures_width
from nestkit.folds.steps import MOST_PASSES, FoldSettings, Steps, steps_for
from nestkit.geometry import LineKind, Path

FieldKind = Literal["kerf", "depth", "skin", "width"]

#: The angle that a coupon's folds are made for, radians.
ASKED = math.pi / 2.0
#: Plugs of each kerf field, and their size, mm.
PLUGS = (4, 8, 12)
PLUG = (6.0, 16.0)
#: An opening is this much taller than its plugs, so that they slide, mm.
_SLIDE = 2.0
FACTORS = (0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4)
#: Most squares of the staircase.
_MOST_STAIRS = 12
#: Strips with stepped skin: as many as a parabola through them needs.
_SKINS = 5
#: The thinnest skin that is tried, mm, and the shallowest groove, as a share of the one that is asked for.
THINNEST = 0.15
_SHALLOWEST = 0.25
#: What the pass that makes the thinnest skin may take of a whole one. The same power at 2, 3, 4 times the
#: speed etches about so much: common practice, no source.
_LAST = (1.0, 1.0 / 2.0, 1.0 / 3.0, 1.0 / 4.0)
_STAIR = 10.0
_FLANGE = 20.0
_STRIP = 16.0
_FIGURE = 4.0
_APART = 4.0
#: Each pass of a square is drawn this much smaller on each side than the one before, mm.
_INSET = 0.05


@dataclass(frozen=True)
class Field:
    """One thing to measure.

    Parameters
    ----------
    name : str
        As it stands on the piece: ``K1``, ``D3``, ``S2``, ``W5``.
    kind : str
        kerf: the gap that stays open, mm; depth: how deep, mm; skin, width: the angle at which the fold
        closes, degrees.
    value : float
        Number of cuts across the opening, of passes, the skin (mm), or the width factor.
    passes : float
        How many passes it takes, a lighter one counted as its share; 0 when it is not etched.
    depth : float, mm
        How deep its groove is meant to be.
    """

    name: str
    kind: FieldKind
    value: float
    passes: float = 0
    depth: float = 0.0


@dataclass(frozen=True, eq=False)
class Coupon:
    """A coupon for one foam; everything lies in a box from (0, 0), mm.

    Parameters
    ----------
    thickness : float, mm
    steps : Steps or None
        The passes up to the most that a field takes; None when nothing is etched.
    last : float
        What the last of these passes takes of a whole one: 1, or less where only a lighter one leaves a skin.
    size : (float, float), mm
    fields : tuple of Field
    marks, cuts : tuple of (field's name, Path)
    areas : tuple of (field's name, pass from 1, Path)
    """

    thickness: float
    steps: Steps | None
    last: float
    size: tuple[float, float]
    fields: tuple[Field, ...]
    marks: tuple[tuple[str, Path], ...]
    cuts: tuple[tuple[str, Path], ...]
    areas: tuple[tuple[str, int, Path], ...]


def coupon_for(thickness: float, settings: FoldSettings, kerf: float, width: float, etched: bool) -> Coupon:
    """Lay out a coupon.

    Parameters
    ----------
    thickness : float, mm
    settings : FoldSettings
        What is known of the foam so far; good guesses give a coupon that tells more.
    kerf : float, mm
        Plugs and openings are drawn on their nominal size; areas run past the strips' edges by the kerf.
    width : float, mm
        The coupon is no wider than this if that can be helped.
    etched : bool
        False for cutters with a blade: kerf alone is tested.

    Raises
    ------
    ValueError
        With a message for the maker, as `steps_for`.
    """
    table = _Table(width)
    _kerf_fields(table)
    steps, last = None, 1.0
    if etched:
        passes = _passes_for(steps_for(thickness, settings).count, thickness, settings)
        steps, last = _steps(passes.depths, passes, settings), passes.last
        _stairs(table, passes)
        for number, count in enumerate(passes.skins, start=1):
            cut = _steps(passes.depths[:count], passes, settings)
            what = Field(f"S{number}", "skin", cut.skin, passes.counted(count), cut.depth)
            table.strip(what, cut, kerf)
        for number, factor in enumerate(FACTORS, start=1):
            cut = _steps(passes.depths[: passes.asked], passes, settings, factor * settings.width_factor)
            table.strip(Field(f"W{number}", "width", cut.width_factor, cut.count, cut.depth), cut, kerf)
    return Coupon(
        thickness,
        steps,
        last,
        (table.right + _APART, table.top + _APART),
        tuple(table.fields),
        tuple(table.marks),
        tuple(table.cuts),
        tuple(table.areas),
    )


@dataclass(frozen=True)
class _Passes:
    """The passes of a coupon: ``asked`` of them leave the skin that is asked for, one more may follow."""

    thickness: float
    share: float
    depths: tuple[float, ...]
    asked: int
    last: float

    @property
    def skins(self) -> list[int]:
        """After which passes a fold with stepped skin is tried."""
        least = _SHALLOWEST * self.depths[self.asked - 1]
        return [n for n, depth in enumerate(self.depths, start=1) if depth >= least][-_SKINS:]

    def counted(self, count: int) -> float:
        return count if count <= self.asked else self.asked + self.last


def _passes_for(fewest: int, thickness: float, settings: FoldSettings) -> _Passes:
    """The fewest passes that give a full row of skins, else those that give most; ``fewest`` or more."""
    found = [
        _with_one_more(count, thickness, settings)
        for count in range(fewest, max(fewest, min(fewest + _SKINS, settings.most_passes)) + 1)
    ]
    return max(found, key=lambda passes: (len(passes.skins), -passes.asked))


def _with_one_more(count: int, thickness: float, settings: FoldSettings) -> _Passes:
    depth = thickness - settings.skin
    share = min(1.0, depth / settings.depth(count))
    depths = (*(share * settings.depth(n) for n in range(1, count)), depth)
    for last in _LAST if count < MOST_PASSES else ():
        deeper = share * settings.depth(count + last)
        if deeper > depth and thickness - deeper >= THINNEST:
            return _Passes(thickness, share, (*depths, deeper), count, last)
    return _Passes(thickness, share, depths, count, 1.0)


def _steps(depths: tuple[float, ...], passes: _Passes, settings: FoldSettings, factor: float = 1.0) -> Steps:
    thickness = passes.thickness
    return Steps(thickness, thickness - depths[-1], depths, passes.share, factor, settings.spot)


@dataclass(eq=False)
class _Table:
    """Fields put side by side in rows, from the bottom up."""

    width: float
    x: float = _APART
    y: float = _APART
    top: float = _APART
    right: float = _APART
    fields: list[Field] = field(default_factory=list)
    marks: list[tuple[str, Path]] = field(default_factory=list)
    cuts: list[tuple[str, Path]] = field(default_factory=list)
    areas: list[tuple[str, int, Path]] = field(default_factory=list)

    def place(self, width: float, height: float) -> tuple[float, float]:
        """Where the next thing of this size goes."""
        if self.x > _APART and self.x + width + _APART > self.width:
            self.row()
        spot = (self.x, self.y)
        self.x += width + _APART
        self.right, self.top = max(self.right, self.x - _APART), max(self.top, self.y + height)
        return spot

    def row(self) -> None:
        """Begin a new row."""
        if self.x > _APART:
            self.x, self.y = _APART, self.top + _APART

    def name(self, text: str, x: float, y: float) -> None:
        self.marks += [(text, path) for path in figures(text, x, y, _FIGURE)]

    def strip(self, what: Field, steps: Steps, kerf: float) -> None:
        """A strip with a fold across its middle, cut free."""
        mouth = steps.mouth(LineKind.FOLD, ASKED)
        width = mouth + 2.0 * _FLANGE
        x, y = self.place(width, _STRIP)
        self.fields.append(what)
        self.cuts.append((what.name, Path.rectangle(width, _STRIP, x, y)))
        self.name(what.name, x + 3.0, y + (_STRIP - _FIGURE) / 2.0)
        middle = x + width / 2.0
        for number, across in enumerate(steps.drawn(LineKind.FOLD, ASKED), start=1):
            area = Path.rectangle(across, _STRIP + 2.0 * kerf, middle - across / 2.0, y - kerf)
            self.areas.append((what.name, number, area))


def _kerf_fields(table: _Table) -> None:
    width, height = PLUG
    for number, count in enumerate(PLUGS, start=1):
        name = f"K{number}"
        table.fields.append(Field(name, "kerf", count + 1))
        opening = count * width
        beside = figures_width(name, _FIGURE) + 2.0
        x, y = table.place(opening + beside, height + _SLIDE)
        table.cuts.append((name, Path.rectangle(opening, height + _SLIDE, x, y)))
        table.name(name, x + opening + 2.0, y + height / 2.0)
    table.row()
    for number, count in enumerate(PLUGS, start=1):
        for _ in range(count):
            x, y = table.place(width, height)
            table.cuts.append((f"K{number}", Path.rectangle(width, height, x, y)))
    table.row()


def _stairs(table: _Table, passes: _Passes) -> None:
    whole = len(passes.depths) if passes.last == 1.0 else passes.asked
    few = min(whole, _MOST_STAIRS)
    for count in sorted({1 + round(k * (whole - 1) / max(few - 1, 1)) for k in range(few)}):
        name = f"D{count}"
        table.fields.append(Field(name, "depth", count, count))
        x, y = table.place(_STAIR, _STAIR + 2.0 + _FIGURE)
        table.name(name, x, y)
        for number in range(1, count + 1):
            inset = _INSET * (number - 1)
            side = _STAIR - 2.0 * inset
            area = Path.rectangle(side, side, x + inset, y + 2.0 + _FIGURE + inset)
            table.areas.append((name, number, area))
    table.row()
