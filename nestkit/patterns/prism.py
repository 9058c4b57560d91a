"""Prism and box: panels of a lantern, a housing or a plinth, with or without lids."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from nestkit.patterns.model import Foam, Measure, Pattern, Piece, need, need_above_zero
from nestkit.patterns.tube import Tube, Window, check_panels, polygon_lid

Side = Literal["inside", "outside"]
Lid = Literal["over", "in"]


@dataclass(frozen=True, eq=False)
class Prism:
    """A tube with a regular polygon as its section.

    Parameters
    ----------
    foam : Foam
    panels : int
        From 3.
    across_flats : float, mm
        Twice the distance from the axis to a panel's face. With an odd number of panels there are no opposite
        flats, and it is still twice that distance.
    height : float, mm
        Of the panels.
    side : "inside" or "outside"
        Which face of the panels the size is measured on.
    lids : int
        0, 1 or 2.
    lid : "over" or "in"
        Whether a lid lies on the rim, flush with the outside, or between the panels.
    windows : tuple of Window

    Raises
    ------
    PatternError
        When the panels leave no hollow, or a window doesn't fit.
    """

    foam: Foam
    panels: int
    across_flats: float
    height: float
    side: Side = "outside"
    lids: int = 0
    lid: Lid = "over"
    windows: tuple[Window, ...] = ()

    def __post_init__(self) -> None:
        need("panels", 3 <= self.panels <= 64, f"{self.panels} is not from 3 to 64")
        need_above_zero("across_flats", self.across_flats)
        need_above_zero("height", self.height)
        need("lids", 0 <= self.lids <= 2, f"{self.lids} is not 0, 1 or 2")
        need(
            "across_flats",
            self._inside > 0.0,
            f"{self.foam.told(self.foam.thickness)} of foam leaves nothing hollow in "
            f"{self.foam.told(self.across_flats)}",
            "Take thinner foam or a larger size",
        )
        check_panels(self.windows, self.panels)
        self._tube().pieces()

    @property
    def _inside(self) -> float:
        """Distance from the axis to a panel's inside face, mm."""
        return self.across_flats / 2.0 - (self.foam.thickness if self.side == "outside" else 0.0)

    def _tube(self) -> Tube:
        turn = math.tau / self.panels
        side = 2.0 * (self._inside + self.foam.depth) * math.tan(turn / 2.0)
        return Tube(self.foam, (side,) * self.panels, (turn,) * self.panels, self.height, self.windows)

    def develop(self) -> Pattern:
        """The flat pattern: a strip (or ``panels-1``, ...) and ``lid``."""
        pieces, chain, notes = self._tube().pieces()
        inside, outside = self._inside, self._inside + self.foam.thickness
        made = _named(pieces, self.lids)
        if self.lids:
            corner = (outside if self.lid == "over" else inside) / math.cos(math.pi / self.panels)
            turns = [math.tau * (k + 0.5) / self.panels - math.pi / 2.0 for k in range(self.panels)]
            corners = [(corner * math.cos(turn), corner * math.sin(turn)) for turn in turns]
            made.append(polygon_lid("lid", corners, self.lids))
        finished = (
            Measure("across flats outside", 2.0 * outside),
            Measure("across flats inside", 2.0 * inside),
            Measure("height", _whole_height(self.height, self.lids, self.lid, self.foam)),
        )
        return Pattern("prism", tuple(made), finished, (chain,), notes)


@dataclass(frozen=True, eq=False)
class Box:
    """A rectangular tube.

    Parameters
    ----------
    foam : Foam
    width, depth, height : float, mm
        The panels' height; lids that lie over them come on top.
    side, lids, lid, windows
        As for `Prism`; panels 1 and 3 are ``width`` wide, 2 and 4 ``depth``.

    Raises
    ------
    PatternError
        When the panels leave no hollow, or a window doesn't fit.
    """

    foam: Foam
    width: float
    depth: float
    height: float
    side: Side = "outside"
    lids: int = 0
    lid: Lid = "over"
    windows: tuple[Window, ...] = ()

    def __post_init__(self) -> None:
        for key in ("width", "depth", "height"):
            need_above_zero(key, getattr(self, key))
        need("lids", 0 <= self.lids <= 2, f"{self.lids} is not 0, 1 or 2")
        for key, size in zip(("width", "depth"), self._inside, strict=True):
            need(
                key,
                size > 0.0,
                f"{self.foam.told(self.foam.thickness)} of foam leaves nothing hollow in "
                f"{self.foam.told(getattr(self, key))}",
                "Take thinner foam or a larger size",
            )
        check_panels(self.windows, 4)
        self._tube().pieces()

    @property
    def _inside(self) -> tuple[float, float]:
        less = 2.0 * self.foam.thickness if self.side == "outside" else 0.0
        return self.width - less, self.depth - less

    def _tube(self) -> Tube:
        sides = tuple(size + 2.0 * self.foam.depth for size in self._inside)
        return Tube(self.foam, sides * 2, (math.pi / 2.0,) * 4, self.height, self.windows)

    def develop(self) -> Pattern:
        """The flat pattern: a strip (or ``panels-1``, ...) and ``lid``."""
        pieces, chain, notes = self._tube().pieces()
        made = _named(pieces, self.lids)
        wall = 2.0 * self.foam.thickness
        inside = self._inside
        if self.lids:
            w, d = (size + (wall if self.lid == "over" else 0.0) for size in inside)
            made.append(polygon_lid("lid", [(0.0, 0.0), (w, 0.0), (w, d), (0.0, d)], self.lids))
        finished = (
            Measure("width outside", inside[0] + wall),
            Measure("depth outside", inside[1] + wall),
            Measure("width inside", inside[0]),
            Measure("depth inside", inside[1]),
            Measure("height", _whole_height(self.height, self.lids, self.lid, self.foam)),
        )
        return Pattern("box", tuple(made), finished, (chain,), notes)


def _named(pieces: tuple[Piece, ...], lids: int) -> list[Piece]:
    """The strips; a single one needs a suffix only beside a lid."""
    if lids and len(pieces) == 1:
        return [replace(pieces[0], suffix="panels")]
    return list(pieces)


def _whole_height(height: float, lids: int, lid: Lid, foam: Foam) -> float:
    return height + (lids * foam.thickness if lid == "over" else 0.0)
