"""Rectangles placed exactly: a solver says where they lie in some rooms, or that they never can.

Lengths become whole numbers. For a layout that is given out, rectangles are rounded up and rooms down; for a
proof that there is none it is the other way round, and everything that the verifier lets pass is allowed too.
Each rectangle carries the gap on two of its sides, and so does the room: then two that do not overlap keep
their gap along one axis. Rectangles may also keep it cornerwise, at g / sqrt(2) along both axes, so that a
proof counts no more than that.

References
----------
Fekete and Schepers 2004, "A combinatorial characterization of higher-dimensional orthogonal packing",
Mathematics of Operations Research 29 (from memory): which rectangles fit in a row is all that matters, so
that lengths may be changed while no row changes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from nestkit.nesting.bounds_turns import SLACK
from nestkit.nesting.rectangle_model import Question, Verdict, WholeSize, answered

#: Width and height, mm.
Size = tuple[float, float]

#: A layout is given out on a grid of this, a proof is made on the coarser one, mm.
FINE, COARSE = 0.001, 0.01


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle.

    Parameters
    ----------
    ways : tuple of (float, float), mm
        Its width and height for each way that it may lie.
    """

    ways: tuple[Size, ...]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a rectangle lies: in which room, which way, and its lower left corner in the room, mm."""

    room: int
    way: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Found:
    """The verdict; when it is ``FITS``, a spot for every rectangle. `work` is what the solver spent."""

    verdict: Verdict
    spots: tuple[Spot, ...] = ()
    work: float = 0.0


def place_all(
    boxes: Sequence[Box],
    rooms: Sequence[Size],
    gap: float,
    *,
    seed: int,
    work: float,
    is_over: Callable[[], bool] = lambda: False,
) -> Found:
    """Places all rectangles in the rooms, the gap kept between any two, or proves that it can't be done.

    Parameters
    ----------
    boxes : sequence of Box
    rooms : sequence of (float, float), mm
        Widths and heights, margins taken off.
    gap : float, mm
    seed : int
        The same seed and work give the same answer, if `is_over` does not end it.
    work : float
        How much the solver may do, in its own measure, which is the same on every machine.
    is_over : callable
        Asked while the solver is at work.
    """
    question, step = _to_lay(boxes, rooms, gap)
    answer = answered(question, seed, work, is_over)
    if answer.verdict is Verdict.NEVER and not question.is_looser_than(_to_rule_out(boxes, rooms, gap)):
        # On this grid, with the gap along an axis, it never fits: it may still do off the grid or cornerwise.
        proof = never_fit(boxes, rooms, gap, seed=seed, work=work - answer.work, is_over=is_over)
        return replace(proof, work=answer.work + proof.work)
    spots = tuple(Spot(room, way, x * step, y * step) for room, way, x, y in answer.seats)
    return Found(answer.verdict, spots, answer.work)


def never_fit(
    boxes: Sequence[Box],
    rooms: Sequence[Size],
    gap: float,
    *,
    seed: int,
    work: float,
    is_over: Callable[[], bool] = lambda: False,
) -> Found:
    """Whether it is proven that the rectangles never fit the rooms, lying in their ways alone.

    Parameters
    ----------
    boxes, rooms, gap, seed, work, is_over
        See `place_all`.

    Returns
    -------
    Found
        ``NEVER`` or ``UNKNOWN``: where the solver finds a layout of the loosened question, it is none.
    """
    answer = answered(_to_rule_out(boxes, rooms, gap), seed, work, is_over)
    proven = answer.verdict is Verdict.NEVER
    return Found(Verdict.NEVER if proven else Verdict.UNKNOWN, work=answer.work)


# --- whole numbers --------------------------------------------------------------------------------


def _to_lay(boxes: Sequence[Box], rooms: Sequence[Size], gap: float) -> tuple[Question, float]:
    """The question for a layout, and how long its steps are, mm."""
    sizes = [[(_up(w + gap, FINE), _up(h + gap, FINE)) for w, h in box.ways] for box in boxes]
    step = _common(sizes)
    whole = [(_down(w + gap, FINE), _down(h + gap, FINE)) for w, h in rooms]
    return _in_steps_of(step, sizes, whole), step * FINE


def _to_rule_out(boxes: Sequence[Box], rooms: Sequence[Size], gap: float) -> Question:
    """The question for a proof: looser than what the verifier asks for."""
    apart = _down(gap / math.sqrt(2.0), COARSE)
    sizes = [[(_down(w, COARSE) + apart, _down(h, COARSE) + apart) for w, h in box.ways] for box in boxes]
    shortest = sorted(min(min(way) for way in ways) for ways in sizes if ways)
    loose = [tuple(_loosened(_up(side, COARSE) + apart, shortest) for side in room) for room in rooms]
    return _in_steps_of(_common(sizes), sizes, [(width, height) for width, height in loose])


def _loosened(room: int, shortest: Sequence[int]) -> int:
    """A room's length with all that a row of rectangles across it may gain by being a little off.

    Instead of every rectangle being shorter by the slack the room is longer by it for each of them: a row
    fits the one way exactly when it fits the other way.
    """
    slack = math.ceil(SLACK / COARSE)
    row = 0
    for count, length in enumerate(shortest, start=1):
        row += length
        if row > room + slack * (count + 1):
            return room + slack * count
    return room + slack * (len(shortest) + 1)


def _common(sizes: Sequence[Sequence[WholeSize]]) -> int:
    """The largest length that all sides are multiples of."""
    return math.gcd(*(side for ways in sizes for way in ways for side in way)) or 1


def _in_steps_of(step: int, sizes: Sequence[Sequence[WholeSize]], rooms: Sequence[WholeSize]) -> Question:
    """Measured in steps of the rectangles: one that is pushed left and down until it stops lies on a step."""
    return Question(
        tuple(tuple((w // step, h // step) for w, h in ways) for ways in sizes),
        tuple((w // step, h // step) for w, h in rooms),
    )


def _up(length: float, step: float) -> int:
    return math.ceil(length / step - 1e-4)


def _down(length: float, step: float) -> int:
    return math.floor(length / step + 1e-4)
