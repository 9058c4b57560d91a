"""The search for one batch of copies: two stages, over all the kinds of sheet that could be bought."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, replace

from nestkit.build.model import Sheet
from nestkit.nesting.bounds import EPSILON
from nestkit.nesting.carried import carried, sound_layout
from nestkit.nesting.course import Course
from nestkit.nesting.forms import Forms
from nestkit.nesting.master import LIKELY_FILL
from nestkit.nesting.problem import Status
from nestkit.nesting.proofs import Prover
from nestkit.nesting.request import Batch, GroupRequest
from nestkit.nesting.search import STARTS, NestResult, search
from nestkit.nesting.second_stage import Bettered, Enough, SecondStage, score_of
from nestkit.nesting.stops import AfterRounds, AnyOf, Stop, a_share_of
from nestkit.nesting.supply import Supply, supply, ways_of
from nestkit.nesting.verify import faults

#: Rounds for each kind of sheet that could be bought, before the best kind gets the remaining time.
FIRST_LOOK = len(STARTS)
#: Share of the second stage's time for making a plan of another size sound; where one that is worth as much
#: is enough; and where nothing else is asked for.
CARRY_SHARE, CARRY_SHARE_ENOUGH, CARRY_SHARE_ALONE = 0.25, 0.75, 0.9
#: With more copies than this, sheets are cut into blanks in the usual way alone.
MOST_FOR_WAYS = 1000

#: So full no sheets were ever packed; a group that would need it gets this share of its time all the same.
HOPELESS_FILL = 0.95
LEAST_HOPE = 0.1

#: A result, and what its bins are.
Found = tuple[NestResult, Supply]


@dataclass(frozen=True, eq=False)
class Pause:
    """Between two stages: how likely the second one betters the plan, from 0 (it can't) to 1, and itself."""

    hope: float
    stage: SecondStage


class BatchSearch:
    """Looks for the best layout of a batch.

    Parameters
    ----------
    request : GroupRequest
    batch : Batch
    prover : Prover
        Of the batch's items, over the request's sheets.
    taken : mapping of str to int
        How many sheets of each kind other batches have used up.
    course : Course
    """

    def __init__(
        self,
        request: GroupRequest,
        batch: Batch,
        prover: Prover,
        taken: Mapping[str, int],
        course: Course,
    ) -> None:
        self._request, self._batch, self._prover, self._course = request, batch, prover, course
        self._taken = dict(taken)
        self._items, self._spacing = batch.items, request.spacing
        self._kinds: list[Sheet | None] = [sheet for sheet in request.sheets if sheet.buy] or [None]
        self._forms = Forms(batch.items, request.spacing)
        self._enough = Enough(prover, course.content)

    def stages(self) -> Generator[Pause, Stop | Bettered | None, Found]:
        """Pauses between the two stages; see `nesting.group.Staged`."""
        course = self._course
        # First of all: it may need no search, and is mostly better than what one finds in a short time.
        begun = self._begun()
        if begun is not None and course.take_start:
            return begun
        if begun is not None and self._enough.is_met_by(begun[0].score):
            return replace(begun[0], status=Status.PROVEN), begun[1]
        if begun is not None and (course.stop(0) or len(course.starts) > 1):
            # Between two plans that are near, the constructive engine finds no third one.
            best = begun
        else:
            best = self._first()
            if begun is not None and begun[0].score < best[0].score:
                best = replace(begun[0], rounds=best[0].rounds), begun[1]
        found, row = best
        stage = SecondStage(tuple(self._items), self._spacing, row, found.layout, self._enough, course.seed)
        answer = yield Pause(self._hope(best), stage)
        if isinstance(answer, Bettered):
            bettered = answer
            for sheets in bettered.ruled_out:
                self._enough.prover.rule_out(sheets)
            if bettered.ruled_out:
                self._enough.ask_anew()
        elif (tighten := answer or course.tighten) is not None:
            bettered = stage.run(
                tighten, course.asked_to_stop, course.before_tightening, self._told(found.rounds)
            )
        else:
            bettered = Bettered(found.layout, found.score, 0)
        if bettered.score < found.score:
            found = replace(
                found, layout=bettered.layout, score=bettered.score, rounds=found.rounds + bettered.rounds
            )
        if len(self._kinds) <= 1 or self._enough.is_met_by(found.score):
            return found, row
        return self._cheaper_sheets((found, row))

    def _told(self, before: int) -> Callable[[int, int], None] | None:
        """Tells of the rounds of a search that goes on after some."""
        told = self._course.progress
        return None if told is None else lambda rounds, sheets: told(before + rounds, sheets)

    def _hope(self, best: Found) -> float:
        """How likely the second stage betters it, from 0 to 1: the fuller fewer sheets would be, the less."""
        found, row = best
        if self._enough.is_met_by(found.score):
            return 0.0
        used = {row.meaning[seat.bin].which: row.meaning[seat.bin].sheet for seat in found.layout.seats}
        areas = [sheet.area for sheet in used.values()]
        room = math.fsum(areas) * (1.0 - 1.0 / max(len(areas), 1))
        if len(areas) == 1:
            # Not on fewer, but perhaps on a cheaper one.
            price = next(iter(used.values())).price
            room = max((kind.area for kind in self._kinds if kind and kind.price < price), default=0.0)
        foam = math.fsum(item.outline.area for item in self._items)
        fill = foam / room if room else math.inf
        return min(max((HOPELESS_FILL - fill) / (HOPELESS_FILL - LIKELY_FILL), LEAST_HOPE), 1.0)

    def _sheets(self, first: Sheet | None, way: int = 0) -> Supply:
        return supply(
            self._request.sheets,
            self._batch.bed,
            len(self._items),
            first,
            self._taken,
            most_cuts=self._request.most_cuts,
            way=way if len(self._items) <= MOST_FOR_WAYS else None,
        )

    def _run(self, first: Sheet | None, rule: Stop, start: int, way: int = 0) -> Found:
        row = self._sheets(first, way)
        told = self._told(start)
        found = search(
            self._items,
            row.bins,
            self._spacing,
            score=lambda layout: score_of(self._items, layout, row),
            enough=self._enough.is_met_by,
            seed=self._course.seed,
            stop=rule,
            asked_to_stop=self._course.asked_to_stop,
            forms=self._forms,
            progress=None if told is None else lambda rounds, score: told(rounds, int(score[2])),
        )
        return found, row

    def _begun(self) -> Found | None:
        """The first plan of another size that can be made sound on its own sheets."""
        course = self._course
        row = self._sheets(self._kinds[0])
        for number, start in enumerate(course.starts):
            share = CARRY_SHARE
            if course.take_start:
                share = CARRY_SHARE_ALONE
            elif course.content is not None and number == 0 and len(course.starts) > 1:
                # What takes the first one's place is less than what is asked for: not worth as much time.
                share = CARRY_SHARE_ENOUGH
            layout = carried(self._batch, row, start, self._spacing)
            if layout is None:
                continue
            if course.tighten is not None and (
                layout.left_out or faults(self._items, row.bins, layout, self._spacing)
            ):
                course.before_tightening()
            sound = sound_layout(
                self._items,
                row,
                layout,
                self._spacing,
                seed=course.seed,
                stop=None if course.tighten is None else a_share_of(course.tighten, share),
                asked_to_stop=course.asked_to_stop,
            )
            if sound is not None:
                return NestResult(Status.TIME, sound, score_of(self._items, sound, row), 0.0, 0, ()), row
        return None

    def _first(self) -> Found:
        """What the constructive engine finds: all kinds are looked at, the best one for longer.

        In which way a sheet is cut up is looked at for the best kind alone.
        """
        stop, asked_to_stop = self._course.stop, self._course.asked_to_stop
        ways = [1] * len(self._kinds)
        if len(self._items) <= MOST_FOR_WAYS:
            bed, most_cuts = self._batch.bed, self._request.most_cuts
            ways = [1 if kind is None else len(ways_of(kind, bed, most_cuts)) for kind in self._kinds]
        if sum(ways) <= 1:
            return self._run(self._kinds[0], stop, 0)
        look = AnyOf(stop, AfterRounds(FIRST_LOOK))
        looks = [(self._run(kind, look, 0), kind, 0) for kind in self._kinds]
        best, kind, way = min(looks, key=lambda seen: seen[0][0].score)
        spent = sum(seen[0][0].rounds for seen in looks)
        for other in range(1, ways[self._kinds.index(kind)]):
            if self._enough.is_met_by(best[0].score) or stop(spent) or asked_to_stop():
                break
            seen = self._run(kind, look, spent, other)
            spent += seen[0].rounds
            if seen[0].score < best[0].score:
                best, way = seen, other
        if not (self._enough.is_met_by(best[0].score) or stop(spent) or asked_to_stop()):
            longer = self._run(kind, _Later(stop, spent), spent, way)
            if longer[0].score <= best[0].score:
                best = longer
        return best

    def _cheaper_sheets(self, best: Found) -> Found:
        """Moves what lies on a bought sheet to a cheaper kind where that holds it as well."""
        request, batch = self._request, self._batch
        found, row = best
        layout = found.layout
        bins, meaning = list(row.bins), list(row.meaning)
        numbers = Counter({sheet.name: sheet.in_shop for sheet in request.sheets})
        for sheet_bin in {m.which: m for m in meaning}.values():
            numbers[sheet_bin.sheet.name] = max(numbers[sheet_bin.sheet.name], sheet_bin.number)
        whole = {
            meaning[seat.bin].which: meaning[seat.bin] for seat in layout.seats if meaning[seat.bin].bought
        }
        for which, sheet_bin in whole.items():
            members = [seat.item for seat in layout.seats if meaning[seat.bin].which == which]
            each = sheet_bin.sheet.price / sheet_bin.sheet.pack
            area = sum(batch.items[n].outline.area for n in members)
            cheaper = [s for s in request.sheets if s.buy and s.price < each - EPSILON and s.area >= area]
            for kind in sorted(cheaper, key=lambda s: (s.price, s.name)):
                bought = replace(kind, in_shop=0)
                one = supply([bought], batch.bed, 1, first=bought, most_cuts=request.most_cuts)
                some = [batch.items[n] for n in members]
                moved = search(
                    some,
                    one.bins,
                    request.spacing,
                    score=lambda tried: (float(len(tried.left_out)),),
                    enough=lambda score: score[0] == 0,
                    seed=0,
                    stop=AfterRounds(FIRST_LOOK),
                    forms=self._forms,
                ).layout
                if moved.left_out:
                    continue
                numbers[kind.name] += 1
                shift = len(bins)
                bins += one.bins
                meaning += [replace(m, sheet=kind, number=numbers[kind.name]) for m in one.meaning]
                kept = [seat for seat in layout.seats if meaning[seat.bin].which != which]
                kept += [replace(s, item=members[s.item], bin=s.bin + shift) for s in moved.seats]
                layout = replace(layout, seats=tuple(kept))
                break
        changed = Supply(tuple(bins), tuple(meaning))
        return replace(found, layout=layout, score=score_of(batch.items, layout, changed)), changed


class _Later:
    """A stop rule for a search that goes on after some rounds were spent elsewhere."""

    def __init__(self, rule: Stop, spent: int) -> None:
        self._rule, self._spent = rule, spent

    def __call__(self, rounds: int) -> bool:
        return self._rule(rounds + self._spent)
