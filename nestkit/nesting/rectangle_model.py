"""Rectangles in rooms as a model of whole numbers for a solver.

References
----------
Clautiaux, Jouglet, Carlier and Moukrim 2008, "A new constraint programming approach for the orthogonal
packing problem", Computers & Operations Research 35 (from memory): starts as variables, and what lies across
each line adds up to no more than the room's height.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

#: Width and height, in steps.
WholeSize = tuple[int, int]
#: x, y, width and height, in steps.
Laid = tuple[int, int, int, int]

#: With more choices of a room and a way to lie than this, in all, nothing is tried.
MOST_CHOICES = 600
#: How often it is asked whether the time is over, seconds.
LOOK = 0.05


class Verdict(StrEnum):
    """What is known of some rectangles and rooms."""

    FITS = "fits"
    #: Proven.
    NEVER = "never fits"
    UNKNOWN = "not found"


@dataclass(frozen=True, slots=True)
class Question:
    """Do these boxes fit these rooms, whole, upright and apart?

    Parameters
    ----------
    boxes : tuple of tuple of (int, int)
        Width and height of each box for each way that it may lie.
    rooms : tuple of (int, int)
        Their widths and heights.
    """

    boxes: tuple[tuple[WholeSize, ...], ...]
    rooms: tuple[WholeSize, ...]

    def is_looser_than(self, other: Question) -> bool:
        """Whether all that the other allows is allowed here; False where that is not plain to see."""
        return self.boxes == other.boxes and all(
            mine[axis] >= its[axis]
            for mine, its in zip(self.rooms, other.rooms, strict=True)
            for axis in (0, 1)
        )


@dataclass(frozen=True, slots=True)
class Answer:
    """The verdict; when it is ``FITS``, for each box its room, its way, and its lower left corner's x and y.

    `work` is what the solver spent, in its own measure.
    """

    verdict: Verdict
    seats: tuple[tuple[int, int, int, int], ...] = ()
    work: float = 0.0


def answered(question: Question, seed: int, work: float, is_over: Callable[[], bool]) -> Answer:
    """Asks the solver.

    Parameters
    ----------
    question : Question
    seed : int
        The same seed and work give the same answer, if `is_over` does not end it.
    work : float
        How much the solver may do, in its own measure, which is the same on every machine.
    is_over : callable
        Asked while the solver is at work.
    """
    if not question.boxes:
        return Answer(Verdict.FITS)
    model = _Model(question)
    if model.is_impossible:
        return Answer(Verdict.NEVER)
    if model.choices > MOST_CHOICES or work <= 0.0 or is_over():
        return Answer(Verdict.UNKNOWN)
    return model.solve(seed, work, is_over)


class _Model:
    """Where each box lies, and which of its choices, a room and a way to lie in it, it takes."""

    def __init__(self, question: Question) -> None:
        # Imported when it is needed: it takes a while.
        from ortools.sat.python import cp_model

        self.question = question
        self.rooms = sorted(range(len(question.rooms)), key=lambda r: (question.rooms[r], r), reverse=True)
        self.order = sorted(
            range(len(question.boxes)),
            key=lambda b: (_area(question.boxes[b]), question.boxes[b], -b),
            reverse=True,
        )
        self.options = {b: self._options(place, b) for place, b in enumerate(self.order)}
        self.is_impossible = not all(self.options.values())
        self.choices = sum(map(len, self.options.values()))
        self.model = cp_model.CpModel()
        self.x: dict[int, cp_model.IntVar] = {}
        self.y: dict[int, cp_model.IntVar] = {}
        self.chosen: dict[tuple[int, int, int], cp_model.IntVar] = {}
        if not self.is_impossible and self.choices <= MOST_CHOICES:
            self._lay_out()
            self._break_symmetry()

    def _options(self, place: int, b: int) -> list[tuple[int, int]]:
        """Rooms and ways in which a box fits; the k-th box need not lie beyond the k-th of rooms alike."""
        found = []
        for r, room in enumerate(self.rooms):
            size = self.question.rooms[room]
            alike_before = sum(1 for other in self.rooms[:r] if self.question.rooms[other] == size)
            if alike_before <= place:
                ways = self.question.boxes[b]
                found += [(r, k) for k, (w, h) in enumerate(ways) if w <= size[0] and h <= size[1]]
        return found

    def _size(self, r: int) -> WholeSize:
        return self.question.rooms[self.rooms[r]]

    def _lay_out(self) -> None:
        model = self.model
        in_room: dict[int, list[tuple[cp_model.IntervalVar, cp_model.IntervalVar, int, int]]] = {}
        for b in self.order:
            ways = self.question.boxes[b]
            reach = [max(self._size(r)[axis] - ways[k][axis] for r, k in self.options[b]) for axis in (0, 1)]
            self.x[b] = model.new_int_var(0, reach[0], f"x {b}")
            self.y[b] = model.new_int_var(0, reach[1], f"y {b}")
            for r, k in self.options[b]:
                w, h = ways[k]
                flag = model.new_bool_var(f"{b} in {r} {k}")
                self.chosen[b, r, k] = flag
                model.add(self.x[b] <= self._size(r)[0] - w).only_enforce_if(flag)
                model.add(self.y[b] <= self._size(r)[1] - h).only_enforce_if(flag)
                across = model.new_optional_fixed_size_interval_var(self.x[b], w, flag, "")
                along = model.new_optional_fixed_size_interval_var(self.y[b], h, flag, "")
                in_room.setdefault(r, []).append((across, along, w, h))
            model.add_exactly_one(self.chosen[b, r, k] for r, k in self.options[b])
        for r, members in in_room.items():
            width, height = self._size(r)
            all_across, all_along, widths, heights = zip(*members, strict=True)
            model.add_no_overlap_2d(all_across, all_along)
            # What the constraint above implies, said so that it is seen early.
            model.add_cumulative(all_across, heights, height)
            model.add_cumulative(all_along, widths, width)
            load = sum(
                self.question.boxes[b][k][0] * self.question.boxes[b][k][1] * flag
                for (b, room, k), flag in self.chosen.items()
                if room == r
            )
            model.add(load <= width * height)

    def _break_symmetry(self) -> None:
        """Leaves out layouts that are others with rooms mirrored, or with boxes alike exchanged."""
        first = self.order[0]
        for r, k in self.options[first]:
            (width, height), (w, h) = self._size(r), self.question.boxes[first][k]
            self.model.add(2 * self.x[first] <= width - w).only_enforce_if(self.chosen[first, r, k])
            self.model.add(2 * self.y[first] <= height - h).only_enforce_if(self.chosen[first, r, k])
        beyond = max(width for width, _ in self.question.rooms) + 1
        for one, other in itertools.pairwise(self.order):
            if self.question.boxes[one] == self.question.boxes[other]:
                self.model.add(self._rank(one, beyond) <= self._rank(other, beyond))

    def _rank(self, b: int, beyond: int) -> cp_model.LinearExprT:
        rooms = sum(r * beyond * self.chosen[b, r, k] for r, k in self.options[b])
        return self.x[b] + rooms

    def solve(self, seed: int, work: float, is_over: Callable[[], bool]) -> Answer:
        """Asks the solver, and stops it when it is over."""
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = seed
        solver.parameters.max_deterministic_time = work
        # Ctrl-C is the program's to catch: it keeps the best plan.
        solver.parameters.catch_sigint_signal = False
        status = _stopped_when_over(solver, self.model, is_over)
        spent = solver.response_proto.deterministic_time
        if status == cp_model.INFEASIBLE:
            return Answer(Verdict.NEVER, work=spent)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Answer(Verdict.UNKNOWN, work=spent)
        corners: dict[int, tuple[int, int, int, int]] = {}
        for (b, r, k), flag in self.chosen.items():
            if solver.value(flag):
                corners[b] = r, k, solver.value(self.x[b]), solver.value(self.y[b])
        return Answer(Verdict.FITS, self._seats(corners), spent)

    def _seats(self, corners: dict[int, tuple[int, int, int, int]]) -> tuple[tuple[int, int, int, int], ...]:
        seats = {}
        for r in range(len(self.rooms)):
            members = {
                b: (x, y, *self.question.boxes[b][k]) for b, (room, k, x, y) in corners.items() if room == r
            }
            for b, (x, y, _, _) in _pushed(members).items():
                seats[b] = self.rooms[r], corners[b][1], x, y
        return tuple(seats[b] for b in range(len(corners)))


def _area(ways: Sequence[WholeSize]) -> int:
    return ways[0][0] * ways[0][1] if ways else 0


def _stopped_when_over(
    solver: cp_model.CpSolver, model: cp_model.CpModel, is_over: Callable[[], bool]
) -> cp_model.CpSolverStatus:
    """Solves in a thread of its own, so that Ctrl-C and the clock are heeded meanwhile."""
    answers: list[cp_model.CpSolverStatus] = []
    thread = threading.Thread(target=lambda: answers.append(solver.solve(model)), daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(LOOK)
        if thread.is_alive() and is_over():
            solver.stop_search()
    return answers[0]


def _pushed(members: dict[int, Laid]) -> dict[int, Laid]:
    """Boxes (x, y, width, height) pushed to the left and down, until none moves."""
    members = dict(members)
    moved = True
    while moved:
        moved = False
        for axis in (0, 1):
            for b in sorted(members, key=lambda b: (members[b][axis], b)):
                nearest = _nearest(members, b, axis)
                if nearest < members[b][axis]:
                    x, y, w, h = members[b]
                    members[b] = (nearest, y, w, h) if axis == 0 else (x, nearest, w, h)
                    moved = True
    return members


def _nearest(members: dict[int, Laid], b: int, axis: int) -> int:
    """How far a box may slide towards 0 along an axis."""
    box, other = members[b], 1 - axis
    return max(
        (
            m[axis] + m[axis + 2]
            for k, m in members.items()
            if k != b
            and m[axis] + m[axis + 2] <= box[axis]
            and m[other] < box[other] + box[other + 2]
            and m[other] + m[other + 2] > box[other]
        ),
        default=0,
    )
