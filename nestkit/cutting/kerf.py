"""Kerf: the cutter burns away half its kerf on each side of its path, so paths stand off by that much.

Outlines grow and holes shrink by half the kerf; what vanishes, closes or falls apart is told. The chords
of curves become arcs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from nestkit.errors import Finding
from nestkit.geometry import Outline, Path
from nestkit.geometry.fitting import fitted
from nestkit.geometry.offset import offset

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
        Clockwise, in the order of the outline's holes.
    findings : tuple of Finding
    """

    outside: Path
    inside: tuple[Path, ...]
    findings: tuple[Finding, ...]


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
    raw = _stood_off(outline, kerf)
    return replace(raw, outside=fitted(raw.outside), inside=tuple(map(fitted, raw.inside)))


def cut_findings(outline: Outline, kerf: float) -> tuple[Finding, ...]:
    """What the kerf does to an outline that its maker should know; see `cut_paths`."""
    return _stood_off(outline, kerf).findings


def _stood_off(outline: Outline, kerf: float) -> CutPaths:
    """The paths with curves in chords, as they come from the offset."""
    if kerf < 0.0:
        raise ValueError("a kerf can't be negative")
    half = kerf / 2.0
    findings: list[Finding] = []
    outside, *slots = _rings(outline.exterior, half)
    for slot in slots:
        x, y = slot.start
        findings.append(
            Finding(
                "slot-closed",
                f"a slot is narrower than the kerf of {kerf:g} mm at its mouth: the cutter can't go in "
                f"and leaves its wide end as a hole of its own, {_from_corner(x, y)}",
                "Widen the slot, or leave it out.",
            )
        )
    inside = [slot if slot.signed_area < 0.0 else slot.reversed() for slot in slots]
    for hole in outline.holes:
        pieces = _rings(hole, -half)
        x0, y0, x1, y1 = hole.bounds
        size = f"{x1 - x0:.2f} x {y1 - y0:.2f} mm, {_from_corner((x0 + x1) / 2.0, (y0 + y1) / 2.0)},"
        if not pieces:
            findings.append(
                Finding(
                    "hole-vanished",
                    f"a hole of {size} is no wider than the kerf of {kerf:g} mm and can't be cut",
                    "Draw it larger, or as a mark.",
                )
            )
        elif len(pieces) > 1:
            findings.append(
                Finding(
                    "hole-split",
                    f"a hole of {size} is narrower than the kerf of {kerf:g} mm in places and is cut as "
                    f"{len(pieces)} holes",
                    "Widen its narrow places.",
                )
            )
        inside += [piece.reversed() for piece in pieces]
    return CutPaths(outside, tuple(inside), tuple(findings))


def _from_corner(x: float, y: float) -> str:
    return f"{x:.1f} mm right of and {y:.1f} mm above the part's lower left corner"


def _rings(path: Path, distance: float) -> list[Path]:
    return [ring for ring in offset(path, distance) if abs(ring.signed_area) > CRUMB]
