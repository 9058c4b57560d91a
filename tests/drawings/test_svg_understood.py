"""What is read of hidden layers, copies, plain numbers and names that are all but a rule."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.drawings.kinds import meant_rule, named_rule
from nestkit.drawings.read import part_shape, select
from nestkit.errors import DrawingError
from nestkit.geometry import LineKind
from tests.drawings.svg_made import codes, read

CLAW = '<path id="claw" d="M0,0 H60 V40 H0 Z" stroke="red"/>'
FOLDS = '<path d="M20,0 V40" stroke="red"/><path d="M40,0 V40" stroke="red"/>'
LAYER = 'ed:groupmode="layer" ed:label="{}"'


def test_a_hidden_layer_is_told_with_its_lines() -> None:
    hidden = f'<g {LAYER.format("Knuckle fold 60")} style="display:none">{FOLDS}</g>'
    shape, findings = part_shape(read(CLAW + hidden))
    assert not shape.lines
    assert [f.code for f in findings] == ["hidden-lines"]
    assert "hidden layer 'Knuckle fold 60' (2 lines) is left out" in str(findings[0])
    shown, findings = part_shape(read(CLAW + hidden.replace("display:none", "")))
    assert len(shown.lines) == 2
    assert not findings


@pytest.mark.parametrize("how", ['style="visibility:hidden"', 'visibility="collapse"'])
def test_what_is_invisible_is_told_as_what_is_not_displayed(how: str) -> None:
    """SVG 2 (W3C), section 11.6: `visibility` is inherited, and what is inside may be made visible again."""
    shown = '<path d="M30,0 V40" visibility="visible" stroke="red"/>'
    inside = f"<g>{FOLDS}</g><use href='#claw' x='90'/>{shown}"
    layer = LAYER.format("Knuckle fold 60")
    shape, findings = part_shape(read(CLAW + f"<g {layer} {how}>{inside}</g>"))
    assert len(shape.lines) == 1
    assert [f.code for f in findings] == ["hidden-lines"]
    assert "hidden layer 'Knuckle fold 60' (3 lines) is left out" in str(findings[0])
    assert not part_shape(read(CLAW + f"<g {layer} {how}>{shown}</g>"))[1]


def test_only_what_is_hidden_of_the_part_asked_for_is_told() -> None:
    hidden = '<g id="plate-fold 60" display="none"><path d="M1,0V9"/></g>'
    hidden += '<g id="bell-mark" display="none"><use/></g>'
    drawing = read('<g id="plate">' + CLAW + "</g>" + hidden)
    _, findings = part_shape(drawing, "plate")
    assert ["plate-fold 60" in str(f) for f in findings] == [True]
    assert len(part_shape(drawing)[1]) == 2


def test_definitions_clips_and_empty_groups_are_no_hidden_lines() -> None:
    body = (
        '<defs display="none"><path d="M0,0h1"/></defs><clipPath display="none"><path d="M0,0h1"/></clipPath>'
        '<g display="none"/><g display="none"><defs><path d="M0,0h1"/></defs></g>'
    )
    assert read(CLAW + body).hidden == ()


def test_a_part_that_is_hidden_altogether_is_refused_as_such() -> None:
    drawing = read(CLAW + '<g id="bell" display="none"><path d="M0,0h9v9z"/></g>')
    with pytest.raises(DrawingError, match="all that is called 'bell' is hidden"):
        select(drawing, "bell")
    with pytest.raises(DrawingError, match=r"hidden path 'claw' \(1 line\) is left out"):
        read(CLAW.replace("stroke=", 'display="none" stroke='))


def test_a_name_means_the_element_itself_and_that_of_a_copy_the_copy() -> None:
    drawing = read(CLAW + '<use id="use1" href="#claw" x="100"/><use id="use2" href="#claw" y="50"/>')
    assert part_shape(drawing, "claw")[0].outline.bounds == pytest.approx((0, 60, 60, 100))
    assert part_shape(drawing, "use1")[0].outline.bounds == pytest.approx((100, 60, 160, 100))
    assert part_shape(drawing, "use2")[0].outline.bounds == pytest.approx((0, 10, 60, 50))


def test_the_name_of_a_group_leaves_out_copies_of_the_group_and_of_copies() -> None:
    body = f'<g id="spike">{CLAW}</g>'
    body += '<g id="twin"><use id="use1" href="#spike" x="80"/></g><use href="#twin" y="50"/>'
    drawing = read(body)
    for name in ("spike", "claw"):
        assert len(select(drawing, name)) == 1
    assert len(select(drawing, "twin")) == 1
    assert part_shape(drawing, "use1")[0].outline.bounds == pytest.approx((80, 60, 140, 100))


def test_what_is_drawn_by_a_copy_alone_goes_by_its_own_name_still() -> None:
    drawing = read(f'<defs><g id="spike">{CLAW}</g></defs><use href="#spike"/>')
    assert len(select(drawing, "spike")) == 1
    assert select(drawing, "CLAW")


def test_copies_stay_what_the_copied_layer_says() -> None:
    drawing = read(CLAW + f'<defs><g id="fold 60">{FOLDS}</g></defs><use href="#fold 60"/>')
    assert [line.kind for line in part_shape(drawing)[0].lines] == [LineKind.FOLD] * 2


def test_a_page_in_mm_without_a_view_box_is_told() -> None:
    drawing = read('<rect width="200" height="100"/>', 'width="420mm" height="297mm"')
    (finding,) = drawing.findings
    assert finding.code == "unit-ambiguous"
    assert "420 mm wide but has no viewBox: a number without unit counts 1/96 in" in finding.text
    # 200 px of 1/96 in: CSS Values and Units Level 4, "Absolute lengths".
    assert drawing.paths[0].path.bounds[2] == pytest.approx(200 * 25.4 / 96)
    assert "reaches out" not in finding.text
    out = read('<path d="M0,0H2000V10Z"/>', 'width="420mm" height="297mm"')
    assert "reaches out of its page" in out.findings[0].text


@pytest.mark.parametrize(
    ("body", "page", "found"),
    [
        ('<rect width="200mm" height="100mm"/>', 'width="420mm" height="297mm"', []),
        ('<rect width="200" height="100"/>', 'width="420mm" height="297mm" viewBox="0 0 420 297"', []),
        ('<rect width="200mm" height="100"/>', 'width="420mm" height="297mm"', ["unit-mixed"]),
        ('<rect width="200" height="100"/>', 'width="420" height="297"', ["unit-pixels"]),
    ],
)
def test_a_page_leaves_no_doubt_or_another_one(body: str, page: str, found: list[str]) -> None:
    assert codes(read(body, page)) == found


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("Knuckle folds 60", "Knuckle fold 60"),
        ("fold line 60", "fold 60"),
        ("60 deg folds", "fold 60"),
        ("Rim-bevels 45", "Rim bevel 45"),
        ("crease 90", "fold 90"),
        ("fold lines", "fold 90"),
        ("fold 60", ""),
        ("knuckle", ""),
        ("unfold 90", ""),
        ("scaffolds 60", ""),
    ],
)
def test_names_that_are_all_but_a_rule(name: str, meant: str) -> None:
    assert meant_rule(name) == meant


@given(st.text(alphabet="folds bevingcra-_ 0123456789.°", max_size=40))
def test_what_is_proposed_is_a_rule(name: str) -> None:
    meant = meant_rule(name)
    if meant:
        rule = named_rule(meant)
        assert rule is not None
        assert rule.kind in (LineKind.FOLD, LineKind.BEVEL) or rule.fault


def test_a_misnamed_fold_layer_is_one_problem_that_names_the_rule() -> None:
    folds = FOLDS.replace("M20,0 V40", "M20,5 V35").replace("M40,0 V40", "M40,5 V35")
    with pytest.raises(DrawingError) as refused:
        part_shape(read(f"{CLAW}<g {LAYER.format('Knuckle folds 60')}>{folds}</g>"))
    (problem,) = refused.value.problems
    assert "layer 'Knuckle folds 60' looks like a fold" in problem.what
    assert problem.todo.startswith("Name it 'Knuckle fold 60'")
    assert "Join" not in str(problem)
