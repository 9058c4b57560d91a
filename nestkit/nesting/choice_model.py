"""Which sheets, and how many of each kind of part on each: the model that bounds and master share.

What lies on a sheet is counted, not placed. A plan that exists fulfils every row of the model, so that what
the model can't do no plan can. Interchangeable parts are one number for each sheet; interchangeable sheets
are put in order by what lies on them; parts too small to matter are poured in like water.

References
----------
Cote, Dell'Amico and Iori 2014, "Combinatorial Benders' cuts for the strip packing problem", Operations
Research 62; Hooker and Ottosson 2003, "Logic-based Benders decomposition", Mathematical Programming 96:
a model that counts, and a search that places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

#: A linear expression of the solver: a number, a variable, or a sum of them.
Expression = Any

#: Areas are whole numbers in the model: so many of them make the largest sheet.
AREA_STEPS = 1_000_000
#: Weights of dual-feasible functions are whole numbers too: so many make a sheet.
WEIGHT_STEPS = 1_000_000
#: Money is counted in ten-thousandths.
MONEY_STEPS = 10_000
#: A kind of part that takes less than this share of the smallest sheet is poured.
POURED = 0.04
#: The solver's work, in its own measure, the same on every machine; about a second each.
WORK = 2.0


@dataclass(frozen=True, eq=False)
class Demand:
    """So many copies of one kind.

    Parameters
    ----------
    count : int
    area : float, mm^2
        What each takes up at least.
    """

    count: int
    area: float


@dataclass(frozen=True, eq=False)
class Kind:
    """Sheets that are interchangeable, and what is known of the demands on them.

    Parameters
    ----------
    price : float
        Of one sheet, or of one pack.
    most : int
        How many there are, or how many a plan could want.
    room : float, mm^2
        The areas on one sheet add up to no more.
    weights : sequence of sequence of float
        Rows of weights, one number for each demand: those on one sheet add up to no more than 1. Infinite
        where a demand can't lie on it.
    apart : sequence of tuple of int
        Numbers of demands, two or three, repeated ones included, that can't all lie on one sheet.
    pack : int
        Sheets are bought so many at a time.
    """

    price: float
    most: int
    room: float
    weights: Sequence[Sequence[float]] = ()
    apart: Sequence[tuple[int, ...]] = ()
    pack: int = 1


@dataclass(frozen=True, slots=True)
class Choice:
    """How many sheets of each kind, and how many copies of each demand lie on each of them.

    Parameters
    ----------
    sheets : tuple of int
        For each kind.
    money : float
    contents : tuple of (int, tuple of int)
        For each used sheet its kind, and a number for each demand; poured demands are not counted out.
    """

    sheets: tuple[int, ...]
    money: float
    contents: tuple[tuple[int, tuple[int, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What the solver says.

    Parameters
    ----------
    choice : Choice or None
        The best one; None when there is none, or none was found.
    least : float
        No choice can be better, in what was asked for: money, sheets, or both in one number. Infinite
        when there is no choice.
    """

    choice: Choice | None
    least: float


class ChoiceModel:
    """The model for some demands and kinds of sheets.

    Parameters
    ----------
    demands : sequence of Demand
    kinds : sequence of Kind
    fill : float
        Rooms count only so much: 1 for what is proven, less for what may be hoped for.
    ruled_out : sequence of tuple of int
        Numbers of each kind that are known not to be enough, nor fewer of them.
    """

    def __init__(
        self,
        demands: Sequence[Demand],
        kinds: Sequence[Kind],
        fill: float = 1.0,
        ruled_out: Sequence[Sequence[int]] = (),
    ) -> None:
        # Imported when it is needed: it takes a while.
        from ortools.sat.python import cp_model

        self.demands, self.kinds, self.fill = demands, kinds, fill
        self.model = cp_model.CpModel()
        self.slots: list[tuple[int, cp_model.IntVar, dict[int, cp_model.IntVar]]] = []
        self._step = max((kind.room for kind in kinds), default=1.0) / AREA_STEPS
        least = min((kind.room for kind in kinds if kind.room > 0.0), default=0.0)
        bound = {k for kind in kinds for some in kind.apart for k in some}
        self.poured = [
            k for k, demand in enumerate(demands) if demand.area < POURED * least and k not in bound
        ]
        self.counted = [k for k in range(len(demands)) if k not in set(self.poured)]
        self._lay_out()
        self.packs = [self._packs(t) for t in range(len(kinds))]
        for sheets in ruled_out:
            self.forbid_within(sheets)

    def _lay_out(self) -> None:
        model = self.model
        water = sum(self._whole(self.demands[k].area) * self.demands[k].count for k in self.poured)
        pours = []
        for t, kind in enumerate(self.kinds):
            before: tuple[Expression, Expression] | None = None
            room = math.floor(kind.room * self.fill / self._step) + 1
            for s in range(kind.most):
                used = model.new_bool_var(f"used {t} {s}")
                counts = {k: self._count(t, k, s) for k in self.counted}
                pour = model.new_int_var(0, max(min(water, room), 0), f"pour {t} {s}")
                pours.append(pour)
                load = pour + sum(self._whole(self.demands[k].area) * n for k, n in counts.items())
                model.add(load <= room * used)
                for row in kind.weights:
                    whole = {k: math.floor(row[k] * WEIGHT_STEPS) for k in counts if math.isfinite(row[k])}
                    model.add(sum(w * counts[k] for k, w in whole.items() if w > 0) <= WEIGHT_STEPS * used)
                self._keep_apart(kind, counts, f"{t} {s}")
                if before is not None:
                    model.add_implication(used, before[0])
                    model.add(load <= before[1])
                before = used, load
                self.slots.append((t, used, counts))
        for k in self.counted:
            model.add(sum(counts[k] for _, _, counts in self.slots) == self.demands[k].count)
        model.add(sum(pours) == water)

    def _whole(self, area: float) -> int:
        return math.floor(area / self._step)

    def _count(self, t: int, k: int, s: int) -> cp_model.IntVar:
        kind, demand = self.kinds[t], self.demands[k]
        fits = math.floor(kind.room / demand.area + 1e-9) if demand.area > 0.0 else demand.count
        if any(math.isinf(row[k]) for row in kind.weights):
            fits = 0
        return self.model.new_int_var(0, min(demand.count, fits), f"n {t} {s} {k}")

    def _keep_apart(self, kind: Kind, counts: dict[int, cp_model.IntVar], where: str) -> None:
        """At most all but one of the copies that some can't lie together with."""
        flags: dict[tuple[int, int], cp_model.IntVar] = {}
        for some in kind.apart:
            literals = []
            for k in sorted(set(some)):
                if k not in counts:
                    continue
                times = some.count(k)
                if (k, times) not in flags:
                    flag = self.model.new_bool_var(f"{times} of {k} {where}")
                    self.model.add(counts[k] >= times).only_enforce_if(flag)
                    self.model.add(counts[k] <= times - 1).only_enforce_if(~flag)
                    flags[k, times] = flag
                literals.append(flags[k, times])
            self.model.add_bool_or([~literal for literal in literals])

    def _packs(self, t: int) -> Expression:
        """How many sheets, or packs of them, are paid for."""
        kind = self.kinds[t]
        number = sum(used for n, used, _ in self.slots if n == t)
        if kind.pack <= 1:
            return number
        packs = self.model.new_int_var(0, -(-kind.most // kind.pack), f"packs {t}")
        self.model.add(kind.pack * packs >= number)
        return packs

    @property
    def money(self) -> Expression:
        """What a choice costs, in `MONEY_STEPS`."""
        return sum(
            round(kind.price * MONEY_STEPS) * packs
            for kind, packs in zip(self.kinds, self.packs, strict=True)
            if kind.price > 0.0
        )

    @property
    def sheets(self) -> Expression:
        """How many sheets a choice takes."""
        return sum(used for _, used, _ in self.slots)

    def number_of(self, t: int) -> Expression:
        """How many sheets of a kind a choice takes."""
        return sum(used for n, used, _ in self.slots if n == t)

    def no_dearer_than(self, money: float) -> None:
        """Leaves out choices that cost more."""
        self.model.add(self.money <= round(money * MONEY_STEPS))

    def forbid_within(self, sheets: Sequence[int]) -> None:
        """Leaves out choices that take no more of every kind than the numbers given."""
        more = []
        for t, most in enumerate(sheets):
            if most >= self.kinds[t].most:
                continue
            flag = self.model.new_bool_var("")
            self.model.add(self.number_of(t) >= most + 1).only_enforce_if(flag)
            more.append(flag)
        self.model.add_bool_or(more)

    def least_money(self, seed: int = 1, work: float = WORK) -> Answer:
        """The choice that costs least."""
        answer = self._solve(self.money, seed, work)
        return Answer(answer.choice, answer.least / MONEY_STEPS)

    def least_sheets(self, seed: int = 1, work: float = WORK) -> Answer:
        """The choice with the fewest sheets."""
        return self._solve(self.sheets, seed, work)

    @property
    def _worth(self) -> Expression:
        """Money, then sheets, in one number."""
        return self.money * (len(self.slots) + 1) + self.sheets

    def better_than(self, money: float, sheets: int) -> None:
        """Leaves out choices that cost more, and those that cost as much and take as many sheets."""
        most = round(money * MONEY_STEPS) * (len(self.slots) + 1) + min(sheets, len(self.slots) + 1)
        self.model.add(self._worth <= most - 1)

    def best(self, seed: int = 1, work: float = WORK) -> Answer:
        """The cheapest choice, and among the cheapest one with the fewest sheets."""
        return self._solve(self._worth, seed, work)

    def _solve(self, objective: Expression, seed: int, work: float) -> Answer:
        from ortools.sat.python import cp_model

        self.model.minimize(objective)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = seed
        solver.parameters.max_deterministic_time = work
        # Ctrl-C is the program's to catch: it keeps the best plan.
        solver.parameters.catch_sigint_signal = False
        status = solver.solve(self.model)
        if status == cp_model.INFEASIBLE:
            return Answer(None, math.inf)
        least = math.ceil(solver.best_objective_bound - 1e-6)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Answer(None, max(least, 0))
        return Answer(self._choice(solver), least)

    def _choice(self, solver: cp_model.CpSolver) -> Choice:
        contents = []
        numbers = [0] * len(self.kinds)
        for t, used, counts in self.slots:
            if solver.value(used):
                numbers[t] += 1
                row = [solver.value(counts[k]) if k in counts else 0 for k in range(len(self.demands))]
                contents.append((t, tuple(row)))
        return Choice(tuple(numbers), solver.value(self.money) / MONEY_STEPS, tuple(contents))
