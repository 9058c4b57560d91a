"""How a group is searched for: seed, stop rules, plans to begin with, and what is good enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from nestkit.nesting.carried import LaidSheet
from nestkit.nesting.master import Worth
from nestkit.nesting.stops import Stop


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How a group is searched for.

    Parameters
    ----------
    seed : int
    stop : Stop
        Ends the first stage, which is the constructive engine's.
    tighten : Stop, optional
        Ends the second stage, in which the overlap engine goes on from there; without it there is none.
    before_tightening : callable
        Called before the overlap engine is first used.
    asked_to_stop : callable
    progress : callable, optional
        Given the round and the sheets used so far.
    starts : tuple of sequence of LaidSheet
        Plans of another size. The first that can be made sound is taken over where it is better than what
        the constructive engine finds.
    content : Worth, optional
        A plan as good as this is good enough.
    take_start : bool
        Whether a plan of another size that can be made sound is good enough.
    proofs : bool
        False looks at areas alone, where only the sheets are asked for and not what is proven of them.
    """

    seed: int
    stop: Stop
    tighten: Stop | None = None
    before_tightening: Callable[[], None] = lambda: None
    asked_to_stop: Callable[[], bool] = lambda: False
    progress: Callable[[int, int], None] | None = None
    starts: tuple[Sequence[LaidSheet], ...] = ()
    content: Worth | None = None
    take_start: bool = False
    proofs: bool = True
