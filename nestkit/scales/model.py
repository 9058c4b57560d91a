"""What one size of a build comes to, and what comparing sizes finds: plain values that go to other processes.

A result holds no geometry but where each copy lies, so that it is small, can be kept as JSON, and a
neighbouring size can begin with its plan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from nestkit.build.pattern_info import Layers
from nestkit.nesting.carried import LaidSheet

#: Material and thickness (mm): what is planned together.
GroupKey = tuple[str, float]
#: Copies left out, money, sheets: how good a group's plan is, the lower the better.
Rank = tuple[int, float, int]

#: Two sizes nearer than this share are one and the same to a maker; cliffs are found as closely.
CLOSE = 0.005

#: Less money than this is rounding.
CENT = 1e-6


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Copies of a part that find no place, and why."""

    part: str
    copies: int
    why: str


@dataclass(frozen=True, slots=True)
class Leftover:
    """What of the used sheets is worth keeping: pieces, their area (mm^2), and the largest one's box (mm)."""

    pieces: int = 0
    area: float = 0.0
    largest: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class GroupResult:
    """What one material and thickness comes to at one size.

    Parameters
    ----------
    material, thickness
        Thickness in mm.
    copies : int
        Asked for, those left out included.
    sheets, sheets_at_least : int
        As in `nesting.model.Group`.
    proven : bool
        As there: no plan costs less, and none that costs no more can do with fewer sheets.
    cost : float
        Money for the sheets to buy.
    sheet_area, foam_area : float, mm^2
        Of the used sheets, and of the parts on them.
    seconds : float
        Cutting time, hand cutting left out.
    by_hand : tuple of str
        Parts cut by hand although there is a cutter, and not because the maker asked for it.
    left_out : tuple of LeftOut
    leftover : Leftover
    laid : tuple of LaidSheet
        The plan.
    cost_at_least, at_any_price : float, bool
        As in `nesting.model.Group`.
    """

    material: str
    thickness: float
    copies: int
    sheets: int
    sheets_at_least: int
    proven: bool
    cost: float
    sheet_area: float
    foam_area: float
    seconds: float
    by_hand: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    leftover: Leftover
    laid: tuple[LaidSheet, ...]
    cost_at_least: float = 0.0
    at_any_price: bool = True

    @property
    def key(self) -> GroupKey:
        """Which group it is."""
        return self.material, self.thickness

    @property
    def rank(self) -> Rank:
        """Copies left out, money, sheets: lower is better, and where it changes there is a cliff."""
        return sum(each.copies for each in self.left_out), round(self.cost, 6), self.sheets

    @property
    def waste(self) -> float:
        """Share of the used sheets' area that does not become parts, 0..1."""
        return 1.0 - self.foam_area / self.sheet_area if self.sheet_area else 0.0


@dataclass(frozen=True, slots=True)
class SlimPart:
    """A part with places too slim for the cutter: how many; what and how wide (mm) the slimmest is."""

    part: str
    places: int
    what: str
    width: float


@dataclass(frozen=True, slots=True)
class LayerCount:
    """Layers of a stack, or of rings that fill a length."""

    part: str
    layers: Layers


@dataclass(frozen=True, slots=True)
class SizeResult:
    """What one size comes to.

    Parameters
    ----------
    scale : float
    length, height : float or None, mm
        Longer and shorter side of the part by which the size is told, finished; None without one.
    groups : tuple of GroupResult
        Thinnest first; when single groups were asked for, only those.
    slim : tuple of SlimPart
    layers : tuple of LayerCount
    """

    scale: float
    length: float | None
    height: float | None
    groups: tuple[GroupResult, ...]
    slim: tuple[SlimPart, ...] = ()
    layers: tuple[LayerCount, ...] = ()

    @property
    def cost(self) -> float:
        """Money for all sheets to buy."""
        return math.fsum(group.cost for group in self.groups)

    @property
    def waste(self) -> float:
        """Of all used sheets, 0..1."""
        area = math.fsum(group.sheet_area for group in self.groups)
        return 1.0 - math.fsum(group.foam_area for group in self.groups) / area if area else 0.0

    @property
    def seconds(self) -> float:
        """Cutting time of all jobs."""
        return math.fsum(group.seconds for group in self.groups)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """All copies without a place."""
        return tuple(each for group in self.groups for each in group.left_out)

    @property
    def laid(self) -> tuple[LaidSheet, ...]:
        """The whole plan."""
        return tuple(sheet for group in self.groups for sheet in group.laid)

    def group(self, key: GroupKey) -> GroupResult:
        """One group's part of it.

        Raises
        ------
        KeyError
            When it has no such group.
        """
        for group in self.groups:
            if group.key == key:
                return group
        raise KeyError(key)

    def with_group(self, better: GroupResult) -> SizeResult:
        """The same size with another plan for one group."""
        return replace(self, groups=tuple(better if g.key == better.key else g for g in self.groups))


@dataclass(frozen=True, slots=True)
class NoResult:
    """A size of which nothing is known.

    Parameters
    ----------
    scale : float
    why : str
        A clause without a full stop.
    lost : bool
        True when its worker was lost or failed; False when the build can't be made at this size.
    """

    scale: float
    why: str
    lost: bool


Answer = SizeResult | NoResult


@dataclass(frozen=True, slots=True)
class Cliff:
    """A size at which sheets or money of one group change.

    Parameters
    ----------
    below, above : (float, GroupResult)
        Scales on its two sides, and what the group comes to there.
    """

    below: tuple[float, GroupResult]
    above: tuple[float, GroupResult]

    @property
    def step(self) -> float:
        """From the size below to the one above, as a share."""
        return self.above[0] / self.below[0] - 1.0

    @property
    def is_close(self) -> bool:
        """Whether its place is known to `CLOSE`."""
        return self.above[0] <= self.below[0] * (1.0 + CLOSE) * (1.0 + 1e-12)

    @property
    def certain(self) -> bool:
        """Whether no plan above it can do with the sheets and the money below it."""
        below, above = self.below[1], self.above[1]
        return above.cost_at_least > below.cost + CENT or above.sheets_at_least > below.sheets


@dataclass(frozen=True, slots=True)
class Largest:
    """The largest size that fits the shop's sheets or a sum of money.

    Parameters
    ----------
    budget : float or None
        The money; None when only the shop's sheets count.
    best : SizeResult or None
        None when no size that was tried fits.
    over : float or None
        The smallest scale that was tried and does not fit; None when none was too large.
    stops : tuple of str
        What keeps it from being larger, or from fitting at all; sentences without a full stop.
    certain : bool
        Whether it is proven that the scale ``over`` can't fit.
    """

    budget: float | None
    best: SizeResult | None
    over: float | None
    stops: tuple[str, ...]
    certain: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that comparing sizes found.

    Parameters
    ----------
    build, unit : str
    reference : str
        The part whose length tells the size; empty when there is none.
    drawn_length : float, mm
        Its length at scale 1; 0 without one.
    sizes : tuple of SizeResult
        From the smallest to the largest.
    missing : tuple of NoResult
    cliffs : tuple of Cliff
        By group, then by size.
    largest : tuple of Largest
    stopped : bool
        True when the maker ended it early.
    """

    build: str
    unit: str
    reference: str
    drawn_length: float
    sizes: tuple[SizeResult, ...]
    missing: tuple[NoResult, ...] = ()
    cliffs: tuple[Cliff, ...] = ()
    largest: tuple[Largest, ...] = ()
    stopped: bool = False

    @property
    def groups(self) -> tuple[GroupKey, ...]:
        """Materials and thicknesses, thinnest first."""
        keys = {group.key for size in self.sizes for group in size.groups}
        return tuple(sorted(keys, key=lambda key: (key[1], key[0])))


def by_scale(answers: Sequence[Answer]) -> tuple[tuple[SizeResult, ...], tuple[NoResult, ...]]:
    """Results and gaps, each from the smallest size to the largest."""
    sizes = sorted((a for a in answers if isinstance(a, SizeResult)), key=lambda size: size.scale)
    return tuple(sizes), tuple(
        sorted((a for a in answers if isinstance(a, NoResult)), key=lambda gap: gap.scale)
    )
