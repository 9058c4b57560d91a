"""What is proven of a group: how few sheets and how little money no plan can go below, and by what."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from nestkit.nesting.alike import Alike, alike
from nestkit.nesting.bounds import EPSILON, Offer, fewest_sheets, least_money, needed_areas
from nestkit.nesting.bounds_sharing import Effort, Sharing
from nestkit.nesting.bounds_widths import inner_room, weighings
from nestkit.nesting.choice_model import ChoiceModel, Demand, Kind
from nestkit.nesting.problem import Item, Spacing

#: What can prove a number of sheets.
ProvenBy = Literal["area", "widths", "sharing", "together", "rectangles"]

#: With more sheets than this to look at, the proof of all together is not tried.
MOST_SLOTS = 40


@dataclass(frozen=True, slots=True)
class Proof:
    """No plan of the items costs less than `money`, and none that is as cheap as the one at hand takes
    fewer than `sheets`.

    Parameters
    ----------
    sheets : int
    money : float
    by : str
        What proves the number of sheets: ``area``, ``widths`` (dual-feasible functions), ``sharing``
        (items no two of which can share a sheet), ``together`` (all of these in one model) or
        ``rectangles`` (every choice of fewer sheets was tried exactly).
    at_any_price : bool
        True when dearer plans can't do with fewer sheets either.
    """

    sheets: int
    money: float
    by: ProvenBy = "area"
    at_any_price: bool = True


class Prover:
    """Bounds for some items over some offers, each worked out when it is first asked for.

    Parameters
    ----------
    items : sequence of Item
    offers : sequence of Offer
    spacing : Spacing
    by_area_alone : bool
        True leaves away all bounds but the areas'.
    """

    def __init__(
        self, items: Sequence[Item], offers: Sequence[Offer], spacing: Spacing, by_area_alone: bool = False
    ) -> None:
        self.items, self.offers, self.spacing = items, offers, spacing
        self.by_area_alone = by_area_alone
        self._weighed: dict[tuple[float, float, float], list[tuple[float, ...]]] = {}
        self._sharing: dict[tuple[float, float, float], list[tuple[int, ...]]] = {}
        #: So many sheets of each offer, and fewer, are proven not to hold the items.
        self.ruled_out: list[tuple[int, ...]] = []

    def rule_out(self, sheets: Sequence[int]) -> None:
        """Told that the items are proven not to lie on so many sheets of each offer, nor on fewer."""
        self.ruled_out.append(tuple(sheets))

    @cached_property
    def groups(self) -> list[Alike]:
        """Items that are interchangeable, put together."""
        return alike(self.items)

    @cached_property
    def areas(self) -> list[float]:
        """What an item of each group takes up, mm^2."""
        return needed_areas(self.groups, self.spacing.gap)

    @cached_property
    def by_area(self) -> int:
        """Fewest sheets by area alone."""
        return fewest_sheets(self.items, self.offers, self.spacing)

    @cached_property
    def money_by_area(self) -> float:
        """Least money by area alone."""
        return least_money(self.items, self.offers, self.spacing)

    @cached_property
    def by_widths(self) -> int:
        """Fewest sheets by dual-feasible functions, on a sheet that holds every sheet on offer."""
        best = 0.0
        for row in self._weights(*self._largest):
            in_all = [w * group.count for w, group in zip(row, self.groups, strict=True)]
            if all(map(math.isfinite, in_all)):
                best = max(best, math.fsum(in_all))
        return math.ceil(best - 1e-6)

    @cached_property
    def by_sharing(self) -> int:
        """Fewest sheets by items no two of which can share the largest one."""
        pairs = [some for some in self._apart(*self._largest) if len(some) == 2]
        return most_apart([group.count for group in self.groups], pairs)

    @property
    def _largest(self) -> tuple[tuple[float, float], Spacing]:
        size = tuple(max((o.size[axis] for o in self.offers), default=0.0) for axis in (0, 1))
        kept = [offer.across(self.spacing) for offer in self.offers]
        gap = min((spacing.gap for spacing in kept), default=self.spacing.gap)
        return (size[0], size[1]), Spacing(gap, self.spacing.margin)

    def _weights(self, size: tuple[float, float], spacing: Spacing) -> list[tuple[float, ...]]:
        key = (*size, spacing.gap)
        if key not in self._weighed:
            self._weighed[key] = [row.weights for row in weighings(self.groups, size, spacing)]
        return self._weighed[key]

    def _apart(self, size: tuple[float, float], spacing: Spacing) -> list[tuple[int, ...]]:
        key = (*size, spacing.gap)
        if key not in self._sharing:
            room = inner_room(size, spacing)
            if min(room) <= 0.0:
                self._sharing[key] = []
            else:
                sharing = Sharing(room, spacing.gap, Effort())
                pairs = sharing.pairs(self.groups)
                self._sharing[key] = [*pairs, *sharing.triples(self.groups, pairs)]
        return self._sharing[key]

    def kinds(self, most: Sequence[int]) -> list[Kind]:
        """The offers as kinds of the choice model, at most so many of each."""
        found = []
        for offer, number in zip(self.offers, most, strict=True):
            spacing = offer.across(self.spacing)
            found.append(
                Kind(
                    price=offer.price,
                    most=number,
                    room=offer.room(self.spacing),
                    weights=[] if self.by_area_alone else self._weights(offer.size, spacing),
                    apart=[] if self.by_area_alone else self._apart(offer.size, spacing),
                    pack=offer.pack,
                )
            )
        return found

    @cached_property
    def demands(self) -> list[Demand]:
        """The groups as demands of the choice model."""
        return [Demand(g.count, area) for g, area in zip(self.groups, self.areas, strict=True)]

    def model(self, most: Sequence[int]) -> ChoiceModel:
        """All that is known in one model, with at most so many sheets of each offer."""
        return ChoiceModel(self.demands, self.kinds(most), ruled_out=self.ruled_out)

    def prove(self, sheets: int, cost: float) -> Proof:
        """The best proof about plans that cost no more than ``cost`` and take no more than ``sheets``.

        Bounds are worked out from the simplest to the sharpest, until one reaches the plan at hand.

        Parameters
        ----------
        sheets, cost
            Of a plan that exists.
        """
        best = Proof(self.by_area, self.money_by_area)
        if self.by_area_alone:
            return best
        if best.sheets < sheets and self.by_widths > best.sheets:
            best = Proof(self.by_widths, best.money, "widths")
        if best.sheets < sheets and self.by_sharing > best.sheets:
            best = Proof(self.by_sharing, best.money, "sharing")
        if best.sheets >= sheets and best.money >= cost - EPSILON:
            return best
        return self._together(best, sheets, cost)

    def _together(self, known: Proof, sheets: int, cost: float) -> Proof:
        """All in one model: money first, then sheets among the plans that cost no more."""
        most = self.most_of_each(sheets, cost)
        if sum(most) > MOST_SLOTS:
            return known
        money, least, by = known.money, known.sheets, known.by
        if money < cost - EPSILON:
            answer = self.model(most).least_money()
            # A model without any choice would contradict the plan at hand: rounding, then, and no proof.
            if math.isfinite(answer.least):
                money = min(max(money, answer.least), cost)
        if least < sheets:
            models: list[tuple[ProvenBy, ChoiceModel]] = [
                ("together", ChoiceModel(self.demands, self.kinds(most)))
            ]
            if self.ruled_out:
                models.append(("rectangles", self.model(most)))
            for name, model in models:
                model.no_dearer_than(cost)
                found = model.least_sheets().least
                if math.isfinite(found) and found > least:
                    least, by = min(int(found), sheets), name
        dearer = len({offer.price for offer in self.offers if offer.count is None}) > 1
        return Proof(least, money, by, not (by in ("together", "rectangles") and dearer))

    def most_of_each(self, sheets: int, cost: float) -> list[int]:
        """How many of each offer a plan can take that is no worse than the one at hand.

        A dearer or longer one is none of our business: so many that they cost as much, and for sheets
        without a price as many as there are copies, or as the plan at hand takes when it is free, too.
        """
        found = []
        for offer in self.offers:
            most = len(self.items) if offer.count is None else min(offer.count, len(self.items))
            if offer.price > EPSILON:
                most = min(most, offer.pack * math.floor(cost / offer.price + 1e-9))
            if cost <= self.money_by_area + EPSILON:
                # Money is proven: what remains to be asked is whether fewer sheets do.
                most = min(most, sheets)
            found.append(most)
        return found


def most_apart(counts: Sequence[int], pairs: Sequence[tuple[int, ...]]) -> int:
    """How many copies can be named no two of which can share a sheet: a large clique, found greedily.

    Parameters
    ----------
    counts : sequence of int
        Copies of each group.
    pairs : sequence of (int, int)
        Groups no two items of which can share; (k, k): no two of group k.
    """
    apart = {frozenset(pair) for pair in pairs}
    worth = [count if frozenset((k,)) in apart else 1 for k, count in enumerate(counts)]
    best = 1 if counts else 0
    for first in range(len(counts)):
        clique = [first]
        others = sorted((k for k in range(len(counts)) if k != first), key=lambda k: (-worth[k], k))
        for k in others:
            if all(frozenset((k, member)) in apart for member in clique):
                clique.append(k)
        best = max(best, sum(worth[k] for k in clique))
    return best
