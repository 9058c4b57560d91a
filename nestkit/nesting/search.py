"""Searches over the orders in which items are placed.

Each round builds one layout with the constructive engine; an order that is no worse than the best so
far is the ground for the next change. What counts as better is the caller's to say.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from nestkit.nesting.bottom_left import Rule, construct
from nestkit.nesting.forms import Forms
from nestkit.nesting.problem import Bin, Item, Layout, Spacing, Status
from nestkit.nesting.stops import Stop
from nestkit.nesting.verify import faults

Score = tuple[float, ...]


def _by_area(item: Item) -> float:
    return -item.outline.area


def _by_side(item: Item) -> float:
    return -max(item.outline.size)


#: The plain rounds that every search begins with.
STARTS = tuple((key, rule) for rule in Rule for key in (_by_area, _by_side))

#: After a layout that the verifier refused, items are grown by this much more, mm.
TIGHTER = 0.01


@dataclass(frozen=True, slots=True)
class NestResult:
    """What a search found.

    Parameters
    ----------
    status : Status
    layout : Layout
        The best one; it has been verified on the true outlines.
    score : tuple of float
        Lower is better, compared from the first number on.
    seconds : float
    rounds : int
    trace : tuple of (int, float, tuple of float)
        Round, seconds and score of each improvement.
    """

    status: Status
    layout: Layout
    score: Score
    seconds: float
    rounds: int
    trace: tuple[tuple[int, float, Score], ...]


@dataclass(frozen=True, slots=True)
class _Best:
    score: Score
    layout: Layout
    order: list[int]
    rule: Rule


def search(
    items: Sequence[Item],
    bins: Sequence[Bin],
    spacing: Spacing,
    *,
    score: Callable[[Layout], Score],
    enough: Callable[[Score], bool],
    seed: int,
    stop: Stop,
    asked_to_stop: Callable[[], bool] = lambda: False,
    forms: Forms | None = None,
    progress: Callable[[int, Score], None] | None = None,
) -> NestResult:
    """Packs the items into the bins, better and better.

    Parameters
    ----------
    items, bins, spacing
        See `nesting.problem`. Bins are filled in their order.
    score : callable
        Judges a layout; lower is better.
    enough : callable
        Says whether a score needs no bettering, so that the search may end after its plain starts.
    seed : int
        The same seed and number of rounds give the same layout.
    stop : Stop
        Asked after each round.
    asked_to_stop : callable
        Asked inside a round too, but for the first, so that there is always a layout.
    forms : Forms, optional
        Kept from an earlier search of the same items and spacing, it saves time.
    progress : callable, optional
        Given the round and the best score after each round.

    Returns
    -------
    NestResult
    """
    began = time.monotonic()
    chance = random.Random(seed)
    forms = forms or Forms(items, spacing)
    nothing = Layout((), tuple(range(len(items))))
    best = _Best(score(nothing), nothing, [], Rule.LEFT)
    trace: list[tuple[int, float, Score]] = []
    rounds = 0
    status: Status | None = None
    while status is None:
        order, rule = _next_try(items, rounds, best, chance)
        # The first round is always finished, so that there is a layout; no other is worth overrunning for.
        over = partial(_over, asked_to_stop, stop, rounds) if best.order else _never
        layout = construct(items, bins, spacing, order, rule, forms, over)
        value = score(layout)
        rounds += 1
        if value <= best.score:
            # A layout that the verifier refuses is never given out, whatever its score.
            if faults(items, bins, layout, spacing):
                forms = Forms(items, spacing, forms.extra + TIGHTER)
            else:
                if value < best.score:
                    trace.append((rounds, time.monotonic() - began, value))
                best = _Best(value, layout, order, rule)
        if progress is not None:
            progress(rounds, best.score)
        if asked_to_stop():
            status = Status.STOPPED
        elif rounds >= len(STARTS) and enough(best.score):
            status = Status.PROVEN
        elif stop(rounds):
            status = Status.TIME
    return NestResult(status, best.layout, best.score, time.monotonic() - began, rounds, tuple(trace))


def _never() -> bool:
    return False


def _over(asked_to_stop: Callable[[], bool], stop: Stop, rounds: int) -> bool:
    return asked_to_stop() or stop(rounds)


def _next_try(
    items: Sequence[Item], rounds: int, best: _Best, chance: random.Random
) -> tuple[list[int], Rule]:
    """Order and rule of the next round: the plain starts, then changes to the best so far."""
    if rounds < len(STARTS) or not best.order:
        key, rule = STARTS[rounds % len(STARTS)]
        return sorted(range(len(items)), key=lambda n: (key(items[n]), items[n].kind, n)), rule
    order, rule = list(best.order), best.rule
    if chance.random() < 0.15:
        rule = Rule(chance.randrange(len(Rule)))
    for _ in range(chance.choice((1, 1, 2, 3))):
        i, j = chance.randrange(len(order)), chance.randrange(len(order))
        if chance.random() < 0.5:
            order[i], order[j] = order[j], order[i]
        else:
            order.insert(j, order.pop(i))
    return order, rule
