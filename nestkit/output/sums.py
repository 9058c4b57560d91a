"""Sums over a whole build that a maker asks for: how heavy the prop gets, how much there is to glue."""

from __future__ import annotations

import math
from dataclasses import dataclass

from nestkit.build.model import Build, Part
from nestkit.geometry import LineKind
from nestkit.nesting.model import Plan
from nestkit.stock.materials import usual_density


@dataclass(frozen=True, slots=True)
class Weight:
    """Weight of a prop's foam, spares left out.

    Parameters
    ----------
    kg : float
    assumed : tuple of (str, float)
        Materials of which a usual density was taken, with it (kg/m^3).
    unknown : tuple of str
        Materials of which no density is known; they are not in it.
    """

    kg: float
    assumed: tuple[tuple[str, float], ...]
    unknown: tuple[str, ...]


def foam_weight(build: Build, plan: Plan) -> Weight:
    """What the placed parts weigh: area times thickness times the density of the sheet they come from.

    Grooves are not taken off, glue and hardware not put on.
    """
    given = {sheet.name: sheet.density for sheet in build.sheets}
    kg = 0.0
    assumed: dict[str, float] = {}
    unknown: dict[str, None] = {}
    for sheet in plan.sheets:
        density = given.get(sheet.stock)
        if density is None:
            density = usual_density(sheet.material)
            if density is None:
                unknown[sheet.material] = None
                continue
            assumed[sheet.material] = density
        for placed in sheet.placed:
            part = placed.part
            if placed.copy <= part.copies - part.spares:
                kg += part.shape.outline.area * part.thickness * 1e-9 * density
    return Weight(kg, tuple(assumed.items()), tuple(unknown))


def glue_length(build: Build) -> float:
    """Length of all seams that are known, mm: those of patterns, folds, and bevels of drawn parts.

    Two bevelled edges make one seam, and a pattern's bevels lie at seams that it names itself.
    """
    patterns = {part.owner: part.pattern for part in build.parts if part.pattern is not None}
    seams = math.fsum(seam.count * seam.length for info in patterns.values() for seam in info.seams)
    folds = math.fsum((part.copies - part.spares) * _lines(part, LineKind.FOLD) for part in build.parts)
    bevels = math.fsum(
        (part.copies - part.spares) * _lines(part, LineKind.BEVEL) / 2.0
        for part in build.parts
        if part.pattern is None
    )
    return seams + folds + bevels


def _lines(part: Part, kind: LineKind) -> float:
    """Length of a part's lines of one kind that get a groove, mm."""
    return math.fsum(line.path.length for line in part.shape.lines if line.kind is kind and line.angle > 0.0)
