"""Kerf: the cutter burns away half its kerf on each side of its path, so paths stand off by that much.

Outlines grow and holes shrink by half the kerf; what vanishes, closes or falls apart is told. The chords
of curves become arcs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from nestkit.errors import Finding, Point
from nestkit.geometry import Outline, Path
from nestkit.geometry.fitting import fitted
from nestkit.geometry.offset import offset
from nestkit.units import Unit, show_gap, show_gaps, show_length

#: Rings smaller than this are crumbs of the computation, mm^2.
CRUMB = 1e-3


@dataclass(frozen=True, eq=False)
class CutPaths:
    """What the tool follows for one part, in the part's coordinates.

    Parameters
    ----------
    outside : Path
        Counter-clockwise.
    inside : tuple of Path
        Clockwise: slots that closed, then the outline's holes in their order.
    """

    outside: Path
    inside: tuple[Path, ...]


@lru_cache(maxsize=1024)
def cut_paths(outline: Outline, kerf: float) -> CutPaths:
    """Paths for an outline, kerf in.

    Parameters
    ----------
    outline : Outline
        Finished size, mm.
    kerf : float, mm
        The whole width burnt away; 0 leaves everything as it is.

    Raises
    ------
    ValueError
        When the kerf is negative.
    """
    (outside, *slots), holes = _stood_off(outline, kerf)
    inside = (*slots, *(piece.reversed() for pieces in holes for piece in pieces))
    return CutPaths(fitted(outside), tuple(map(fitted, inside)))


def cut_findings(outline: Outline, kerf: float, unit: Unit = "mm") -> tuple[Finding, ...]:
    """What the kerf does to an outline that its maker, who measures in ``unit``, should know."""
    (_, *slots), holes = _stood_off(outline, kerf)
    width = f"the kerf of {show_gap(kerf, unit)}"
    findings = [
        Finding(
            "slot-closed",
            f"a slot is narrower than {width} at its mouth: the cutter can't go in "
            f"and leaves its wide end as a hole of its own, {_from_corner(slot.start, unit)}",
            "Widen the slot, or leave it out.",
        )
        for slot in slots
    ]
    for hole, pieces in zip(outline.holes, holes, strict=True):
        x0, y0, x1, y1 = hole.bounds
        middle = _from_corner(((x0 + x1) / 2.0, (y0 + y1) / 2.0), unit)
        size = f"{show_gaps(x1 - x0, y1 - y0, unit)}, {middle},"
        if not pieces:
            findings.append(
                Finding(
                    "hole-vanished",
                    f"a hole of {size} is no wider than {width} and can't be cut",
                    "Draw it larger, or as a mark.",
                )
            )
        elif len(pieces) > 1:
            findings.append(
                Finding(
                    "hole-split",
                    f"a hole of {size} is narrower than {width} in places and is cut as {len(pieces)} holes",
                    "Widen its narrow places.",
                )
            )
    return tuple(findings)


def _stood_off(outline: Outline, kerf: float) -> tuple[list[Path], list[list[Path]]]:
    """The rings of the outside and of each hole, in chords.

    What follows the first ring of the outside are slots that closed, clockwise; the rest runs the other way.
    """
    if kerf < 0.0:
        raise ValueError("a kerf can't be negative")
    half = kerf / 2.0
    return _rings(outline.exterior, half), [_rings(hole, -half) for hole in outline.holes]


def _from_corner(at: Point, unit: Unit) -> str:
    right, above = (show_length(value, unit) for value in at)
    return f"{right} right of and {above} above the part's lower left corner"


def _rings(path: Path, distance: float) -> list[Path]:
    return [ring for ring in offset(path, distance) if abs(ring.signed_area) > CRUMB]
