"""What a search found, as a value."""

from __future__ import annotations

from dataclasses import dataclass

from nestkit.nesting.problem import Layout, Status


@dataclass(frozen=True, slots=True, order=True)
class Score:
    """How good a layout is; lower is better, from the first number on.

    Parameters
    ----------
    left_out : int
        Items without a place.
    left_area : float, mm2
        Their area.
    bins : int
        Bins used, counted up to the last one that holds anything.
    end : float, mm
        How far the last of them is used along its longer side.
    """

    left_out: int
    left_area: float
    bins: int
    end: float


@dataclass(frozen=True, slots=True)
class Improvement:
    """One step of the search's progress."""

    round: int
    seconds: float
    score: Score


@dataclass(frozen=True, slots=True)
class NestResult:
    """What a search found.

    Parameters
    ----------
    status : Status
        PROVEN when no layout can be better: one bin, filled without waste.
    layout : Layout
        The best one; it has been verified on the true outlines.
    score : Score
    seconds : float
    rounds : int
        Bouts of search done, by each lane.
    trace : tuple of Improvement
    """

    status: Status
    layout: Layout
    score: Score
    seconds: float
    rounds: int
    trace: tuple[Improvement, ...]
