"""Which drawn line is what."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.drawings.kinds import LineRules, fault_of, kind_of, named_rule, parse_rule, part_names
from nestkit.drawings.model import DrawnPath
from nestkit.errors import InputError
from nestkit.geometry import LineKind, Path

CUT, MARK, FOLD, BEVEL, GUIDE = LineKind.CUT, LineKind.MARK, LineKind.FOLD, LineKind.BEVEL, LineKind.GUIDE
SIDE = Path.polyline([(0, 0), (1, 0)], False)


def on(*names: str, colour: str = "") -> DrawnPath:
    return DrawnPath(SIDE, names[0] if names else "", names=names, colour=colour)


@pytest.mark.parametrize(
    ("name", "before", "kind", "degrees"),
    [
        ("cut", "", CUT, 0),
        ("MARK", "", MARK, 0),
        ("bracket-mark", "bracket", MARK, 0),
        ("storm lantern.guide", "storm lantern", GUIDE, 0),
        ("fold 90", "", FOLD, 90),
        ("Bracket fold 60", "Bracket", FOLD, 60),
        ("roof_Fold_22.5", "roof", FOLD, 22.5),
        ("roof-fold-45", "roof", FOLD, 45),
        ("fold120°", "", FOLD, 120),
        ("rim bevel 45 deg", "rim", BEVEL, 45),
        ("fold 0", "", FOLD, 0),
    ],
)
def test_a_names_ending_says_the_kind_and_its_beginning_the_part(name, before, kind, degrees):
    named = named_rule(name)
    assert (named.before, named.kind, named.fault) == (before, kind, "")
    assert math.degrees(named.angle) == pytest.approx(degrees)


@pytest.mark.parametrize("name", ["", "0", "woodcut", "helmet mark 2", "cutter", "fold 90 top", "unfold 90"])
def test_other_names_say_nothing(name):
    assert named_rule(name) is None


@pytest.mark.parametrize("name", ["fold", "roof-bevel", "fold 180", "bevel 90", "fold 700"])
def test_a_fold_without_a_possible_angle_is_a_mark_and_faulty(name):
    assert named_rule(name).kind is MARK
    assert name in fault_of(on(name))


@pytest.mark.parametrize(
    ("text", "kind", "degrees"),
    [
        ("cut", CUT, 0),
        (" Mark ", MARK, 0),
        ("fold 60", FOLD, 60),
        ("bevel 22.5", BEVEL, 22.5),
        ("guide", GUIDE, 0),
    ],
)
def test_rules_as_the_build_file_writes_them(text, kind, degrees):
    assert parse_rule(text) == (kind, pytest.approx(math.radians(degrees)))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("snip", "no kind"),
        ("", "no kind"),
        ("fold", "needs its angle in degrees"),
        ("fold x", "'x' is no number"),
        ("fold nan", "0 to below 180"),
        ("bevel 90", "0 to below 90"),
        ("fold -5", "0 to below 180"),
        ("mark 5", "has no angle"),
    ],
)
def test_wrong_rules_are_explained(text, told):
    with pytest.raises(ValueError, match=told):
        parse_rule(text)


@given(st.text(max_size=30))
def test_any_text_is_a_rule_or_a_value_error(text):
    named_rule(text)
    try:
        kind, angle = parse_rule(text)
    except ValueError:
        return
    assert kind in LineKind
    assert 0.0 <= angle < math.pi


def test_all_wrong_rows_of_the_table_are_told_at_once():
    table = {"Layer 1": "snip", "#12345": "cut", "#ff0000": "fold", "#0f0": "mark", "seams": "fold 45"}
    with pytest.raises(InputError) as caught:
        LineRules.parse(table)
    assert [problem.where for problem in caught.value.problems] == [
        *("lines['Layer 1']", "lines['#12345']", "lines['#ff0000']")
    ]


def test_the_innermost_name_decides_then_the_colour_then_it_is_cut():
    rules = LineRules.parse({"Seams": "fold 45", "mark": "guide", "#f00": "mark", "outer": "bevel 30"})
    fold: tuple[LineKind, Any] = (FOLD, pytest.approx(math.pi / 4))
    assert kind_of(on("seams"), rules) == fold
    assert kind_of(on("x", "SEAMS", "cut"), rules) == fold
    assert kind_of(on("roof cut", "seams"), rules) == (CUT, 0.0)
    assert kind_of(on("mark"), rules) == (GUIDE, 0.0), "the table counts before the name's own ending"
    assert kind_of(on("x", colour="#ff0000"), rules) == (MARK, 0.0)
    assert kind_of(on("outer", colour="#ff0000"), rules)[0] is BEVEL
    assert kind_of(on("x", colour="#00ff00"), rules) == (CUT, 0.0)
    assert kind_of(on()) == (CUT, 0.0)


def test_a_table_row_heals_a_faulty_name():
    assert fault_of(on("fold"))
    assert not fault_of(on("fold"), LineRules.parse({"fold": "fold 30"}))


def test_what_stands_before_an_ending_is_a_part_name():
    assert part_names(on("2F", "bracket-mark", "crane")) == ("2F", "bracket-mark", "crane", "bracket")
