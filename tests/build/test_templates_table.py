"""The [templates] table: defaults, units, mistakes."""

from __future__ import annotations

import pytest

from nestkit.build.model import Templates
from tests.build_bench import Bench

CUTTER = '[cutter]\nkind = "laser"'


def with_table(rows: str) -> tuple[str, str]:
    return CUTTER, f"[templates]\n{rows}\n\n{CUTTER}"


def test_left_out_it_is_usual_paper_for_what_is_cut_by_hand(bench: Bench) -> None:
    assert bench.load().templates == Templates("A4", 10.0, 10.0, "hand")
    inches = ('name = "Harbour flag"', 'name = "Harbour flag"\nunits = "in"')
    assert bench.load(inches).templates == Templates("letter", 10.0, 10.0, "hand")


def test_lengths_are_in_the_builds_unit(bench: Bench) -> None:
    table = with_table('paper = "A3"\nmargin = 0.25\noverlap = 0.5\nwhich = "all"')
    inches = ('name = "Harbour flag"', 'name = "Harbour flag"\nunits = "in"')
    templates = bench.load(table, inches).templates
    assert (templates.paper, templates.which) == ("A3", "all")
    assert (templates.margin, templates.overlap) == pytest.approx((6.35, 12.7))


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('paper = "a4"', "'a4' is not one of 'A4', 'A3' or 'letter'. Did you mean 'A4'?"),
        ('which = "al"', "Did you mean 'all'?"),
        ("overlap = 2", "2 mm lies outside 5 mm to 30 mm. 10 mm is enough to tape two pages together."),
        ("margin = 40", "40 mm lies outside 0 mm to 25 mm. A printer leaves 3 mm to 15 mm white."),
        ("overlp = 10", "Did you mean 'overlap'?"),
    ],
)
def test_mistakes_are_told(bench: Bench, row: str, said: str) -> None:
    assert said in bench.problem(with_table(row))
