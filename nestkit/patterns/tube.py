"""Panels in one strip that folds to a tube with corners; the base of prism and box.

Panels and windows are given as they are seen from outside, panel 1 on the left. The strip lies inside up: it
is laid out as it is seen, and then mirrored.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from shapely.geometry import Polygon, box

from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.geometry.affine import MIRROR_X, compose, translation
from nestkit.patterns.model import (
    Chain,
    Foam,
    Link,
    Piece,
    cut_alike,
    need,
    seam_ticks,
    straight,
)


@dataclass(frozen=True, eq=False)
class Window:
    """Openings cut into panels.

    Parameters
    ----------
    paths : tuple of Path
        Closed, as seen from outside, in coordinates of their own; they keep their places to each other.
    panels : tuple of int, optional
        Which panels, counting from 1 at the left, seen from outside; None for every one.
    at : (float, float), mm, optional
        Where the middle of the openings comes to lie, from the panel's lower left corner as seen from
        outside; left out, the middle of the panel.
    key : str
        What messages are about, as the build file calls it.
    """

    paths: tuple[Path, ...]
    panels: tuple[int, ...] | None = None
    at: tuple[float, float] | None = None
    key: str = "window"


@dataclass(frozen=True, eq=False)
class Tube:
    """A strip of panels.

    Parameters
    ----------
    foam : Foam
    sides : tuple of float, mm
        Panel widths between fold lines, in order from the left, seen from outside.
    turns : tuple of float, radians
        Fold angle at the right of each panel, seen so; the last one is the seam's.
    height : float, mm
    windows : tuple of Window
    """

    foam: Foam
    sides: tuple[float, ...]
    turns: tuple[float, ...]
    height: float
    windows: tuple[Window, ...] = ()

    def pieces(self) -> tuple[tuple[Piece, ...], Chain, tuple[str, ...]]:
        """Strips, how they close, and notes.

        The whole tube is one strip when a sheet and the bed hold it; else it is parted at corners, whose
        edges are bevelled, so that no window is cut.
        """
        runs = self._runs()
        made = [self._strip(run) for run in runs]
        pieces: list[Piece] = []
        which: list[int] = []
        for shape in made:
            same = next((k for k, other in enumerate(pieces) if cut_alike(other.shape, shape)), None)
            if same is None:
                same = len(pieces)
                pieces.append(Piece(f"panels-{same + 1}", shape))
            else:
                old = pieces[same]
                pieces[same] = Piece(old.suffix, old.shape, old.quantity + 1)
            which.append(same)
        if len(pieces) == 1:
            pieces = [Piece("", pieces[0].shape, pieces[0].quantity)]
        links = []
        # Inside up, the panel that is last from outside comes first from the left.
        for run, piece in zip(reversed(runs), reversed(which), strict=True):
            width = sum(self.sides[k] for k in run)
            links.append(
                Link(
                    piece,
                    ((0.0, 0.0), (0.0, self.height)),
                    ((width, 0.0), (width, self.height)),
                    self.turns[run[0] - 1],
                )
            )
        notes = []
        if len(runs) > 1:
            notes.append(
                f"in {len(runs)} strips, joined at bevelled corners, because sheet and bed hold no longer one"
            )
        narrowest = Path.rectangle(sum(self.sides[k] for k in runs[0]), self.height)
        if not self.foam.holds(Outline(narrowest)):
            by_hand = self.foam.holds(Outline(narrowest), by_hand=True)
            notes.append(
                "the bed does not hold its strips, which are cut by hand from whole sheets"
                if by_hand
                else "no sheet holds even one of its panels; take a larger sheet, or smaller sizes"
            )
        return tuple(pieces), Chain(tuple(links)), tuple(notes)

    def _runs(self) -> list[list[int]]:
        """Panels of each strip: as few strips as fit, as even as can be."""
        count = len(self.sides)
        for by_hand in (False, True):
            for strips in range(1, count + 1):
                ends = [round(count * k / strips) for k in range(strips + 1)]
                runs = [list(range(a, b)) for a, b in pairwise(ends)]
                widths = [sum(self.sides[k] for k in run) for run in runs]
                if all(self.foam.holds(Outline(Path.rectangle(w, self.height)), by_hand) for w in widths):
                    return runs
        return [list(range(count))]

    def _strip(self, run: Sequence[int]) -> Shape:
        edges = [0.0, *accumulate(self.sides[k] for k in run)]
        width, height = edges[-1], self.height
        # Fold lines end at corners of the outline, so that it is the same foam that turns on both sides.
        outline = Path.polyline([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)], True)
        lines: list[Line] = []
        for k, x in zip(run[:-1], edges[1:-1], strict=True):
            lines.append(straight(LineKind.FOLD, (x, 0.0), (x, height), self.turns[k]))
        before = self.turns[run[0] - 1]
        lines.append(straight(LineKind.BEVEL, (0.0, 0.0), (0.0, height), before / 2.0))
        lines.append(straight(LineKind.BEVEL, (width, 0.0), (width, height), self.turns[run[-1]] / 2.0))
        for x, length in ((0.0, -6.0), (width, 6.0)):
            lines += seam_ticks((x, 0.0), (x, height), (width, width), length)
        holes = [hole for k, x in zip(run, edges, strict=False) for hole in self._holes(k, x)]
        seen = Shape(Outline(outline, tuple(holes)), tuple(lines))
        return seen.transformed(compose(translation(width, 0.0), MIRROR_X))

    def _holes(self, panel: int, left: float) -> list[Path]:
        found: list[Path] = []
        side, depth = self.sides[panel], self.foam.depth
        walls = [depth * math.tan(self.turns[k] / 2.0) for k in (panel - 1, panel)]
        free = box(left + walls[0], 0.0, left + side - walls[1], self.height)
        for window in self.windows:
            if window.panels is not None and panel + 1 not in window.panels:
                continue
            boxes = [path.bounds for path in window.paths]
            middle = (
                (min(b[0] for b in boxes) + max(b[2] for b in boxes)) / 2.0,
                (min(b[1] for b in boxes) + max(b[3] for b in boxes)) / 2.0,
            )
            x, y = window.at or (side / 2.0, self.height / 2.0)
            move = translation(left + x - middle[0], y - middle[1])
            moved = [path.transformed(move) for path in window.paths]
            for path in moved:
                area = Polygon(path.flatten())
                need(
                    window.key,
                    free.contains(area) and not any(area.intersects(Polygon(p.flatten())) for p in found),
                    f"reaches over the edge, a groove or another opening of panel {panel + 1}, which has "
                    f"{self.foam.told(side - sum(walls))} x {self.foam.told(self.height)} free",
                    "Draw it smaller, or move it with at = [x, y]",
                )
                found.append(path)
        return found


def check_panels(windows: Sequence[Window], count: int) -> None:
    """Refuses a window in a panel that isn't there."""
    for window in windows:
        for panel in window.panels or ():
            need(window.key, 1 <= panel <= count, f"there is no panel {panel}; they count from 1 to {count}")


def polygon_lid(suffix: str, corners: Sequence[tuple[float, float]], count: int) -> Piece:
    """A flat lid."""
    x0, y0 = min(x for x, _ in corners), min(y for _, y in corners)
    ring = [(x - x0, y - y0) for x, y in corners]
    shape = Shape(Outline(Path.polyline(ring, True)))
    return Piece(suffix, shape, count)
