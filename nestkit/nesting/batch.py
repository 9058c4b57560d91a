"""The search for one batch of copies: two stages, over all the kinds of sheet that could be bought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Generator, Mapping, Sequence
from dataclasses import replace

from nestkit.build.model import Sheet
from nestkit.nesting.bounds import EPSILON
from nestkit.nesting.carried import carried, sound_layout
from nestkit.nesting.choosing import is_best, on_better_sheets
from nestkit.nesting.course import Course
from nestkit.nesting.exact import on_exact_sheets
from nestkit.nesting.forms import Forms
from nestkit.nesting.master import Worth
from nestkit.nesting.problem import Item, Layout, Status
from nestkit.nesting.proofs import Prover
from nestkit.nesting.request import Batch, GroupRequest
from nestkit.nesting.search import STARTS, NestResult, Score, search
from nestkit.nesting.stops import AfterRounds, AnyOf, Stop, a_share_of
from nestkit.nesting.supply import Supply, cost_of, supply, ways_of
from nestkit.nesting.verify import faults

#: Rounds for each kind of sheet that could be bought, before the best kind gets the remaining time.
FIRST_LOOK = len(STARTS)
#: Share of the second stage's time for making a plan of another size sound.
CARRY_SHARE = 0.25
#: Share of the second stage's time for what may be solved exactly.
EXACT_SHARE = 0.4
#: With more copies than this, sheets are cut into blanks in the usual way alone.
MOST_FOR_WAYS = 1000

#: A result, and what its bins are.
Found = tuple[NestResult, Supply]


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
        self._known: dict[Worth, bool] = {}

    def stages(self) -> Generator[bool, Stop | None, Found]:
        """Pauses between the two stages; see `nesting.group.Staged`."""
        course = self._course
        # First of all: it may need no search, and is mostly better than what one finds in a short time.
        begun = self._begun()
        if begun is not None and self._enough(begun[0].score):
            return replace(begun[0], status=Status.PROVEN), begun[1]
        if begun is not None and course.stop(0):
            best = begun
        else:
            best = self._first()
            if begun is not None and begun[0].score < best[0].score:
                best = replace(begun[0], rounds=best[0].rounds), begun[1]
        tighten = (yield self._enough(best[0].score)) or course.tighten
        if tighten is not None:
            best = self._closer(self._exact(best, tighten), tighten)
        if len(self._kinds) <= 1 or self._enough(best[0].score):
            return best
        return self._cheaper_sheets(best)

    def _is_enough(self, worth: Worth) -> bool:
        if self._course.content is not None and worth <= self._course.content:
            return True
        if worth not in self._known:
            self._known[worth] = is_best(worth, self._prover.prove(worth.sheets, worth.money))
        return self._known[worth]

    def _enough(self, score: Score) -> bool:
        return score[0] == 0 and self._is_enough(Worth(score[1], int(score[2])))

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
        told = self._course.progress
        found = search(
            self._items,
            row.bins,
            self._spacing,
            score=lambda layout: _score(self._items, layout, row),
            enough=self._enough,
            seed=self._course.seed,
            stop=rule,
            asked_to_stop=self._course.asked_to_stop,
            forms=self._forms,
            progress=None if told is None else lambda n, s: told(start + n, int(s[2])),
        )
        return found, row

    def _begun(self) -> Found | None:
        """The first plan of another size that can be made sound on its own sheets."""
        course = self._course
        row = self._sheets(self._kinds[0])
        for start in course.starts:
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
                stop=None if course.tighten is None else a_share_of(course.tighten, CARRY_SHARE),
                asked_to_stop=course.asked_to_stop,
            )
            if sound is not None:
                return NestResult(Status.TIME, sound, _score(self._items, sound, row), 0.0, 0, ()), row
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
            if self._enough(best[0].score) or stop(spent) or asked_to_stop():
                break
            seen = self._run(kind, look, spent, other)
            spent += seen[0].rounds
            if seen[0].score < best[0].score:
                best, way = seen, other
        if not (self._enough(best[0].score) or stop(spent) or asked_to_stop()):
            longer = self._run(kind, _Later(stop, spent), spent, way)
            if longer[0].score <= best[0].score:
                best = longer
        return best

    def _exact(self, best: Found, tighten: Stop) -> Found:
        """On fewer sheets, where every choice of them can be tried exactly."""
        found, row = best
        asked_to_stop = self._course.asked_to_stop
        if self._enough(found.score) or asked_to_stop():
            return best
        rule = a_share_of(tighten, EXACT_SHARE)
        before = len(self._prover.ruled_out)
        layout = on_exact_sheets(
            self._items,
            row,
            found.layout,
            self._spacing,
            self._prover,
            seed=self._course.seed,
            is_over=lambda: asked_to_stop() or rule(0),
        )
        if len(self._prover.ruled_out) > before:
            # More may be proven now than was.
            self._known.clear()
        score = _score(self._items, layout, row)
        return (replace(found, layout=layout, score=score), row) if score < found.score else best

    def _closer(self, best: Found, tighten: Stop) -> Found:
        """What the overlap engine makes of it."""
        found, row = best
        course = self._course
        if self._enough(found.score) or found.layout.left_out or course.asked_to_stop():
            return best
        course.before_tightening()
        told = course.progress
        chosen = on_better_sheets(
            self._items,
            row,
            found.layout,
            self._spacing,
            self._prover,
            is_enough=self._is_enough,
            seed=course.seed,
            stop=tighten,
            asked_to_stop=course.asked_to_stop,
            progress=None if told is None else lambda n, worth: told(found.rounds + n, worth.sheets),
        )
        score = _score(self._items, chosen.layout, row)
        better = replace(found, layout=chosen.layout, score=score, rounds=found.rounds + chosen.rounds)
        return (better, row) if score < found.score else best

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
        return replace(found, layout=layout, score=_score(batch.items, layout, changed)), changed


class _Later:
    """A stop rule for a search that goes on after some rounds were spent elsewhere."""

    def __init__(self, rule: Stop, spent: int) -> None:
        self._rule, self._spent = rule, spent

    def __call__(self, rounds: int) -> bool:
        return self._rule(rounds + self._spent)


def _score(items: Sequence[Item], layout: Layout, row: Supply) -> Score:
    """Left out, money, sheets, area on the emptiest sheet, then how far the parts reach on it."""
    area: dict[tuple[str, int], float] = {}
    reach: dict[tuple[str, int], float] = {}
    for seat in layout.seats:
        sheet_bin = row.meaning[seat.bin]
        item = items[seat.item]
        area[sheet_bin.which] = area.get(sheet_bin.which, 0.0) + item.outline.area
        right = item.outline.transformed(seat.placement.matrix).bounds[2] + sheet_bin.blank.x
        reach[sheet_bin.which] = max(reach.get(sheet_bin.which, 0.0), right)
    emptiest = min(area, key=lambda which: (area[which], which), default=None)
    return (
        float(len(layout.left_out)),
        round(cost_of(row.meaning[seat.bin] for seat in layout.seats), 6),
        float(len(area)),
        round(area[emptiest], 3) if emptiest else 0.0,
        round(reach[emptiest], 3) if emptiest else 0.0,
    )
