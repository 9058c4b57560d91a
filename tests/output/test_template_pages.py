"""How templates are laid out on pages: nothing is lost, nothing overlaps, no page is needless."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from nestkit.build.model import Part, Templates
from nestkit.build.pattern_info import PatternInfo
from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.nesting.model import Plan
from nestkit.output.captions import text_width
from nestkit.output.lists import cutting_bytes
from nestkit.output.template_grid import PageForm, cell_name, needed_cells
from nestkit.output.template_layout import MOST_PAGES, Spread, spreads_of
from nestkit.output.template_parts import Template, templates_of
from tests.output.sample_plan import build_of, disc, lantern, rectangle
from tests.strategies import star_points

#: ISO 216 and ANSI/ASME Y14.1: width and height in mm.
SIZES = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "letter": (215.9, 279.4)}


@st.composite
def papers(draw: st.DrawFn) -> Templates:
    return Templates(
        draw(st.sampled_from(["A4", "A3", "letter"])), draw(st.floats(0, 25)), draw(st.floats(5, 30)), "all"
    )


@st.composite
def shapes(draw: st.DrawFn) -> Shape:
    kind = draw(st.sampled_from(["plate", "star", "ring"]))
    if kind == "plate":
        width, height = draw(st.floats(6, 700)), draw(st.floats(6, 400))
        return Shape(Outline(rectangle(width, height, draw(st.floats(0.05, 0.45)) * min(width, height))))
    if kind == "ring":
        radius = draw(st.floats(5, 200))
        return disc(radius, draw(st.floats(0.2, 0.8)) * radius)
    points = draw(star_points(10.0, 150.0, 7))
    return Shape(Outline(Path.polyline(points, True))).at_origin()


def template_of(number: int, shape: Shape, copies: int = 1) -> Template:
    return Template(number, Part(f"part {number}", shape, "eva", 6.0, copies), copies, 0)


def boxes_of(spread: Spread, margin: float, overlap: float, paper: str) -> dict[tuple[int, int], Polygon]:
    """What each printed page shows, worked out anew from paper, margin, foot and overlap."""
    width, height = SIZES[paper] if not spread.form.lying else SIZES[paper][::-1]
    wide, tall = width - 2.0 * margin, height - 2.0 * margin - 17.0
    shown = {}
    for column, row in spread.cells:
        x, y = column * (wide - overlap), (spread.rows - 1 - row) * (tall - overlap)
        shown[column, row] = box(x, y, x + wide, y + tall)
    return shown


@settings(max_examples=25)
@given(st.lists(shapes(), min_size=1, max_size=6), papers())
def test_every_template_is_whole_on_its_pages(drawn: list[Shape], paper: Templates) -> None:
    templates = [template_of(number, shape) for number, shape in enumerate(drawn, start=1)]
    spreads, left_out = spreads_of(templates, paper, "mm")
    assert left_out == ()
    laid = [each for spread in spreads for each in spread.laid]
    assert sorted(each.template.number for each in laid) == [each.number for each in templates]
    for spread in spreads:
        shown = boxes_of(spread, paper.margin, paper.overlap, paper.paper)
        everywhere = shapely.union_all(list(shown.values()))
        for each in spread.laid:
            # True to size: the part is turned and moved, nothing else.
            linear = each.matrix[:, :2]
            np.testing.assert_allclose(linear @ linear.T, np.eye(2), atol=1e-12)
            assert np.linalg.det(linear) > 0.0
            assert each.foam.difference(everywhere).area < 1e-4
        for place, first in enumerate(spread.laid):
            for second in spread.laid[place + 1 :]:
                assert first.foam.distance(second.foam) > 2.0
        for cell, page in shown.items():
            assert any(each.foam.intersection(page).area > 1e-9 for each in spread.laid), cell


@settings(max_examples=25)
@given(st.floats(6, 900), st.floats(6, 600), papers())
def test_a_plate_takes_no_more_pages_than_its_grid(width: float, height: float, paper: Templates) -> None:
    """Held against plain counting: upright or lying paper, the plate as it is or turned by a quarter."""
    spreads, _ = spreads_of([template_of(1, Shape(Outline(rectangle(width, height))))], paper, "mm")
    short, long = SIZES[paper.paper]
    counts = []
    for across, up in ((short, long), (long, short)):
        tile = across - 2.0 * paper.margin, up - 2.0 * paper.margin - 17.0
        for w, h in ((width, height), (height, width)):
            # 5 mm on each side for notches and the packing's coarseness; captions may need 10 mm more.
            columns = math.ceil(max((w + 10.0 - paper.overlap) / (tile[0] - paper.overlap), 1e-9))
            rows = math.ceil(max((h + 22.0 - paper.overlap) / (tile[1] - paper.overlap), 1e-9))
            counts.append(columns * rows)
    wide_enough = min(short, long) - 2.0 * paper.margin > 60.0
    assert wide_enough
    assert sum(len(spread.cells) for spread in spreads) <= min(counts)


def test_pages_without_foam_are_left_out_and_the_rest_hangs_together() -> None:
    angle = Polygon([(5, 5), (800, 5), (800, 60), (60, 60), (60, 700), (5, 700)])
    form = PageForm.of(Templates())
    columns, rows = form.grid_for(805.0, 705.0)
    cells = needed_cells(form, columns, rows, [angle])
    assert (columns, rows) == (5, 3)
    assert cells == ((0, 0), (0, 1), (0, 2), (1, 2), (2, 2), (3, 2), (4, 2))


def test_a_page_whose_share_lies_on_its_neighbours_is_left_out() -> None:
    form = PageForm.of(Templates())
    wide, tall = form.tile
    # 8 mm of the plate are on the second page, all of them on the strip that it shares with the first.
    plate = box(20.0, 20.0, wide - 2.0, tall - 20.0)
    assert needed_cells(form, 2, 1, [plate]) == ((0, 0),)
    longer = box(20.0, 20.0, wide + 2.0, tall - 20.0)
    assert needed_cells(form, 2, 1, [longer]) == ((0, 0), (1, 0))


def test_small_templates_share_a_page_with_large_ones() -> None:
    large = template_of(1, disc(170.0, 120.0))
    small = [template_of(number, disc(20.0)) for number in range(2, 8)]
    spreads, _ = spreads_of([large, *small], Templates(), "mm")
    (alone,), _ = spreads_of([large], Templates(), "mm")
    assert len(spreads) == 1
    assert len(spreads[0].cells) == len(alone.cells)
    for each in spreads[0].laid[1:]:
        # None of them is cut in two by a page's edge, nor lies where pages overlap.
        pages = boxes_of(spreads[0], 10.0, 10.0, "A4").values()
        assert sum(page.intersects(each.foam) for page in pages) == 1


def test_strips_lie_side_by_side_on_the_same_pages() -> None:
    strips = [template_of(number, Shape(Outline(rectangle(840.0, 20.0 + number)))) for number in range(1, 6)]
    spreads, _ = spreads_of(strips, Templates(), "mm")
    assert len(spreads) == 1
    assert len(spreads[0].cells) <= 5


def test_what_takes_hundreds_of_pages_is_named_and_not_printed() -> None:
    wall = template_of(1, Shape(Outline(rectangle(5000.0, 5000.0))))
    spreads, left_out = spreads_of([wall, template_of(2, disc(30.0))], Templates(), "mm")
    assert left_out == (wall,)
    assert [each.template.number for spread in spreads for each in spread.laid] == [2]
    assert MOST_PAGES < 5000.0**2 / (190.0 * 260.0)


def test_captions_stand_inside_or_have_room_of_their_own() -> None:
    pieces = [template_of(1, disc(6.0), 24), template_of(2, disc(60.0)), template_of(3, disc(40.0, 34.0))]
    spreads, _ = spreads_of(pieces, Templates(), "mm")
    (spread,) = spreads
    beside = {each.template.number: each.beside for each in spread.laid}
    assert beside[2] is None
    for number in (1, 3):
        room = beside[number]
        assert room is not None
        assert (
            " ".join(room.lines).replace("\ue000", " ")
            == f"{number} part {number}, cut {24 if number == 1 else 1}, eva 6 mm"
        )
        assert room.box[2] - room.box[0] == pytest.approx(2.6 * max(map(text_width, room.lines)))
        assert all(not each.foam.intersects(box(*room.box)) for each in spread.laid)


@pytest.mark.parametrize(
    ("cell", "name"), [((0, 0), "A1"), ((1, 0), "B1"), ((25, 3), "Z4"), ((26, 0), "AA1"), ((701, 9), "ZZ10")]
)
def test_columns_are_lettered_and_rows_numbered(cell: tuple[int, int], name: str) -> None:
    assert cell_name(cell) == name


def test_templates_are_for_what_is_cut_by_hand_unless_all_are_asked_for() -> None:
    case = lantern()
    by_hand = templates_of(case.build, case.plan, "hand")
    assert [each.part.name for each in by_hand] == ["mast step"]
    assert templates_of(case.build, case.plan, "none") == ()
    every = templates_of(case.build, case.plan, "all")
    assert [each.number for each in every] == list(range(1, 9))
    bracket = next(each for each in every if each.part.name == "corner bracket")
    assert bracket.count == "cut 8, 4 of them turned over"


def test_a_template_has_the_number_that_its_copies_and_the_lists_have() -> None:
    """Pieces of one pattern are told apart, and a part that brings its number keeps it."""
    case = lantern()
    piece = PatternInfo("wrap", "sleeve", (), 0.0)
    first, second, third, *others = case.build.parts
    build = replace(
        case.build, parts=(replace(first, pattern=piece), replace(second, pattern=piece), third, *others)
    )
    listed = csv.DictReader(io.StringIO(cutting_bytes(build, case.plan, case.jobs).decode("utf-8-sig")))
    numbers = {row["part"]: int(row["number"]) for row in listed}
    assert {each.part.name: each.number for each in templates_of(build, case.plan, "all")} == numbers
    build = replace(case.build, parts=(first, second, replace(third, number=31), *others))
    assert [each.number for each in templates_of(build, case.plan, "all")[:4]] == [1, 2, 31, 4]


def test_angles_and_folds_are_counted() -> None:
    across = Path.polyline([(10, 0), (10, 40)], False)
    lines = (
        Line(LineKind.FOLD, across, math.radians(60.0)),
        Line(LineKind.FOLD, across, math.radians(60.0)),
        Line(LineKind.BEVEL, across, math.radians(22.5)),
        Line(LineKind.MARK, across),
        Line(LineKind.FOLD, across, 0.0),
    )
    template = template_of(1, Shape(Outline(rectangle(80, 40)), lines))
    assert template.folds() == "fold 60° x 2, bevel 22.5°"


def test_an_inch_build_says_inches() -> None:
    build = build_of([Part("rail", disc(30.0), "eva", 6.35, 1)], unit="in")
    (template,) = templates_of(build, Plan("b", 1.0, 1, (), (), ()), "all")
    assert template.foam(build.unit) == "eva 0.25 in"
    assert replace(template, mirrored=1).count == "cut 1, turned over"
