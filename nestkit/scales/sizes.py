"""Which sizes are compared."""

from __future__ import annotations

import math
from collections.abc import Sequence

from nestkit.build.model import Build
from nestkit.build.parts import SCALES
from nestkit.errors import InputError
from nestkit.units import mm_per, show_length

#: So many sizes at once are the most; a cluster plans hundreds in an hour.
MOST = 1000


def evenly(first: float, last: float, count: int) -> tuple[float, ...]:
    """Scales from ``first`` to ``last`` in equal steps, both included, smallest first.

    Raises
    ------
    InputError
        When they are no usable scales, or too many.
    """
    for option, value in (("--from", first), ("--to", last)):
        if not (math.isfinite(value) and SCALES[0] <= value <= SCALES[1]):
            raise InputError.one(
                option, f"{value:g} is no usable scale", f"It lies between {SCALES[0]:g} and {SCALES[1]:g}"
            )
    _count("--steps", count)
    if first > last:
        raise InputError.one("--from", f"{first:g} is above --to {last:g}", "Give the smaller scale first")
    if count == 1 or first == last:
        return (first,)
    # Rounded, so that 0.7 to 1.3 in thirteen steps gives 1.0 and not a hair beside it.
    found = (round(first + (last - first) * k / (count - 1), 9) for k in range(count))
    return tuple(dict.fromkeys(found))


def by_length(build: Build, lengths: Sequence[float], of: str) -> tuple[float, ...]:
    """The scales that give a drawn part these finished lengths (in the build's unit), smallest first.

    Parameters
    ----------
    build : Build
        At any scale.
    lengths : sequence of float
    of : str
        The part; empty for the one that the build file names, or the longest.

    Raises
    ------
    InputError
        When there is no such drawn part, or a length can't be had.
    """
    _count("--lengths", len(lengths))
    part = build.measured(of)
    if part is None:
        raise no_reference(build, of)
    drawn = max(part.shape.outline.size) / build.scale
    scales = []
    for length in lengths:
        mm = length * mm_per(build.unit)
        scale = mm / drawn if math.isfinite(mm) else math.nan
        if not (math.isfinite(scale) and SCALES[0] <= scale <= SCALES[1]):
            raise InputError.one(
                "--lengths",
                f"'{part.name}', {show_length(drawn, build.unit)} as drawn, can't be made {length:g}",
                f"Give lengths in {build.unit}",
            )
        scales.append(round(scale, 9))
    return tuple(sorted(dict.fromkeys(scales)))


def no_reference(build: Build, of: str) -> InputError:
    """What is said when the part by which sizes are told isn't there or isn't drawn."""
    drawn = [part.name for part in build.parts if part.pattern is None]
    owners = {part.owner for part in build.parts if part.pattern is not None}
    if of and (of in owners or any(part.name == of for part in build.parts)):
        what = f"'{of}' is a pattern, whose length does not simply scale"
    elif of:
        what = f"there is no part '{of}'"
    else:
        what = "the build has no drawn part whose length could be named"
    return InputError.one("--of", what, f"The drawn parts are {', '.join(drawn)}" if drawn else "Give scales")


def _count(option: str, count: int) -> None:
    if not 1 <= count <= MOST:
        raise InputError.one(option, f"{count} sizes are asked for", f"Ask for 1 to {MOST}")
