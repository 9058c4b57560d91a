"""The order of a comparison's work: from which sizes the search begins, and what the others begin with."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from nestkit.planning import Effort
from nestkit.preparing import read_build
from nestkit.scales.compare import APART, spread
from nestkit.scales.sizes import evenly
from nestkit.scales.source import source_of
from nestkit.scales.task import SizeTask, plan_size
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build

SCALES = st.lists(st.floats(0.1, 10.0), min_size=1, max_size=30, unique=True).map(sorted)


@given(SCALES)
def test_the_search_begins_from_both_ends_and_from_some_sizes_between(scales):
    found = spread(scales)
    assert set(found) <= set(scales)
    assert found == tuple(sorted(set(found)))
    assert {found[0], found[-1]} == {scales[0], scales[-1]}
    # As many as steps of APART take, and no more.
    assert len(found) <= math.ceil(math.log(scales[-1] / scales[0]) / math.log(APART) - 1e-9) + 2


def test_even_sizes_are_begun_from_no_farther_apart_than_a_step_more():
    scales = evenly(0.7, 1.3, 25)
    assert all(b / a <= APART * (1.0 + 0.025 / 0.7) for a, b in pairwise(spread(scales)))


@given(SCALES, st.floats(0.1, 10.0))
def test_one_size_more_changes_them_only_where_it_lies_itself(scales, more):
    low, high = scales[0], scales[-1]
    if not low < more < high or more in scales:
        return
    before, after = set(spread(scales)), set(spread(sorted([*scales, more])))
    assert after - before <= {more}


def test_a_size_that_takes_the_start_as_it_is_looks_for_nothing_better(tmp_path):
    """Two sheets for what fits one: that is found without a start, and with one it is left."""
    big = files_of(write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0)))
    task = SizeTask(big, 1.3, Effort(rounds=8))
    start = plan_size(task).groups[0]
    assert start.sheets == 2
    begun = replace(task, scale=0.9, start=start.laid)
    assert plan_size(begun).groups[0].sheets == 1
    taken = plan_size(replace(begun, take_start=True)).groups[0]
    assert taken.sheets == 2
    assert [len(one.parts) for one in taken.laid] == [len(one.parts) for one in start.laid]


def test_every_size_is_there_with_all_that_is_told_of_it(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0))
    file.write_text(file.read_text().replace('"hand"', '"laser"\nbed = [900, 900]\nkerf = 0.2'))
    scales = evenly(0.8, 1.25, 10)
    found = compared(file, scales, rounds=8)
    assert tuple(size.scale for size in found.sizes) == scales
    for size in found.sizes:
        (group,) = size.groups
        assert group.seconds > 0.0
        assert group.copies == len(JIGSAW)
        assert group.sheets_at_least >= 1
    ranks = [size.groups[0].rank for size in found.sizes]
    assert ranks == sorted(ranks)


def files_of(file):
    return source_of(read_build(file, None))
