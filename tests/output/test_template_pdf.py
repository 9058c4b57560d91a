"""templates.pdf read back with pdfium: true to size, whole, the same on pages that overlap, and legible."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from nestkit.build.model import Build, Cutter, Part, Templates
from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.nesting.model import Plan
from nestkit.output.template_book import TemplateBook, template_book
from nestkit.output.template_layout import Spread, spreads_of
from nestkit.output.template_parts import templates_of
from tests.output.sample_plan import build_of, disc, frame, gore, rectangle
from tests.output.template_reader import PageRead, read_pages
from tests.strategies import star_points

#: ISO 216 and ANSI/ASME Y14.1: width and height in mm.
SIZES = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "letter": (215.9, 279.4)}
FOOT = 17.0
#: What pdfium's single-precision numbers and chords of Bezier curves may add, mm.
EXACT = 0.02


def folded() -> Shape:
    """A long strip with folds across it and a bevel at one end."""
    lines = [
        Line(LineKind.FOLD, Path.polyline([(x, 0), (x, 60)], False), math.radians(angle))
        for x, angle in ((90.0, 60.0), (200.0, 90.0), (330.0, 22.5))
    ]
    lines.append(Line(LineKind.BEVEL, Path.polyline([(480, 0), (480, 60)], False), math.radians(30.0)))
    lines.append(Line(LineKind.MARK, Path.polyline([(20, 30), (70, 30)], False)))
    return Shape(Outline(rectangle(480, 60)), tuple(lines))


def usual_parts() -> list[Part]:
    return [
        Part("quay wall", folded(), "eva", 6.0, 1),
        Part("foot ring", disc(140, 60), "eva", 10.0, 2),
        Part("window frame", frame(), "eva", 6.0, 4, mirrored_pairs=True),
        Part("roof gore", gore(), "eva", 4.0, 6),
        Part("rivet", disc(6), "eva", 4.0, 24),
        Part("thin trim", Shape(Outline(rectangle(560, 9))), "eva", 4.0, 5),
    ]


def build_with(parts: Sequence[Part], paper: Templates, **changes: object) -> Build:
    return build_of(parts, templates=paper, cutter=Cutter("hand"), **changes)


def book_of(build: Build) -> TemplateBook:
    book = template_book(build, Plan(build.name, 1.0, 1, (), (), ()))
    assert book is not None
    return book


def spreads_in(build: Build) -> tuple[Spread, ...]:
    wanted = templates_of(build, Plan(build.name, 1.0, 1, (), (), ()), build.templates.which)
    return spreads_of(wanted, build.templates, build.unit)[0]


def named_cell(page: PageRead) -> tuple[int, int]:
    """Column and row as they stand in large letters at the page's foot."""
    large = [
        (place.bounds, letter) for letter, place in page.letters if place.bounds[3] - place.bounds[1] > 3.8
    ]
    name = "".join(letter for _, letter in sorted(large))
    found = re.fullmatch("([A-Z])([0-9]+)", name)
    assert found, name
    return ord(found[1]) - ord("A"), int(found[2]) - 1


def put_together(
    build: Build, pages: Sequence[PageRead]
) -> list[tuple[Spread, list[tuple[Polygon, list[LineString]]]]]:
    """Each spread with what its pages show and the cuts on them, moved to where the page lies.

    Pages come in the order of the spreads; where a page lies is worked out from what is written on it.
    """
    paper = build.templates
    spreads = spreads_in(build)
    todo = list(pages[len(pages) - sum(len(spread.cells) for spread in spreads) :])
    found = []
    for number, spread in enumerate(spreads, start=1):
        shown = []
        for _ in spread.cells:
            page = todo.pop(0)
            width, height = page.size
            assert sorted(page.size) == pytest.approx(sorted(SIZES[paper.paper]), abs=0.01)
            column = row = 0
            if len(spread.cells) > 1:
                assert f"spread {number}" in page.text
                column, row = named_cell(page)
            wide, tall = width - 2 * paper.margin, height - 2 * paper.margin - FOOT
            x = column * (wide - paper.overlap)
            y = (spread.rows - 1 - row) * (tall - paper.overlap)
            dx, dy = x - paper.margin, y - paper.margin - FOOT
            lines = [
                shapely.transform(each.line, lambda p, s=(dx, dy): p + s)
                for each in page.strokes
                if each.is_cut
            ]
            shown.append((box(x, y, x + wide, y + tall), lines))
        found.append((spread, shown))
    assert not todo
    return found


def outline_of(spread: Spread) -> BaseGeometry:
    """Where the outlines have to lie, their arcs as fine chords."""
    rings = [
        np.vstack((points := ring.flatten(0.002), points[:1]))
        for each in spread.laid
        for ring in each.template.part.shape.transformed(each.matrix).outline.rings()
    ]
    return shapely.union_all([LineString(ring) for ring in rings])


def judge(build: Build, pages: Sequence[PageRead]) -> None:
    for spread, shown in put_together(build, pages):
        wanted = outline_of(spread)
        foam = shapely.union_all([each.foam for each in spread.laid])
        for page, lines in shown:
            drawn = shapely.union_all(lines)
            # What is drawn lies on the outline and on the page; what of the outline is on the page is drawn.
            assert far_from(drawn, wanted) < EXACT
            assert far_from(drawn, page) < EXACT
            assert far_from(wanted.intersection(page.buffer(-EXACT)), drawn) < EXACT
            assert foam.intersection(page).area > 0.0
        # Nothing is missing, and where pages overlap they show the same.
        assert far_from(wanted, shapely.union_all([line for _, lines in shown for line in lines])) < EXACT
        for place, (page, lines) in enumerate(shown):
            for other, others in shown[place + 1 :]:
                shared = page.intersection(other).buffer(-EXACT)
                if not shared.is_empty:
                    mine, theirs = (shapely.union_all(each).intersection(shared) for each in (lines, others))
                    assert far_from(mine, shapely.union_all(others)) < EXACT
                    assert far_from(theirs, shapely.union_all(lines)) < EXACT


def far_from(geometry: BaseGeometry, other: BaseGeometry) -> float:
    """The largest distance of a point of ``geometry`` from ``other``; infinite when that is not there."""
    if geometry.is_empty:
        return 0.0
    if other.is_empty:
        return math.inf
    dense = shapely.segmentize(geometry, 2.0)
    shapely.prepare(other)
    return float(shapely.distance(shapely.points(shapely.get_coordinates(dense)), other).max())


USUAL = build_with(usual_parts(), Templates(which="all"))


@pytest.fixture(scope="module")
def usual() -> list[PageRead]:
    return read_pages(book_of(USUAL).data)


def test_outlines_are_true_and_whole_and_overlaps_match(usual: list[PageRead]) -> None:
    judge(USUAL, usual)


@settings(max_examples=12)
@given(
    st.lists(
        st.one_of(
            star_points(15.0, 180.0, 6).map(
                lambda points: Shape(Outline(Path.polyline(points, True))).at_origin()
            ),
            st.floats(8.0, 240.0).map(lambda radius: disc(radius, 0.4 * radius)),
            st.tuples(st.floats(10.0, 600.0), st.floats(10.0, 300.0)).map(
                lambda size: Shape(Outline(rectangle(*size, 0.2 * min(size))))
            ),
        ),
        min_size=1,
        max_size=4,
    ),
    st.sampled_from(["A4", "A3", "letter"]),
    st.floats(0.0, 25.0),
    st.floats(5.0, 30.0),
)
def test_any_parts_on_any_paper(shapes: list[Shape], paper: str, margin: float, overlap: float) -> None:
    parts = [Part(f"part-{number}", shape, "eva", 6.0) for number, shape in enumerate(shapes)]
    build = build_with(parts, Templates(paper, margin, overlap, "all"))  # type: ignore[arg-type]
    judge(build, read_pages(book_of(build).data))


def test_the_bars_on_every_page_are_100_mm_and_4_inches(usual: list[PageRead]) -> None:
    for page in usual:
        assert "100 mm" in page.text
        assert "4 inches" in page.text
        level = {
            round(x1 - x0, 2)
            for each in page.strokes
            for x0, y0, x1, y1 in [each.line.bounds]
            if y1 - y0 < 0.01 and each.colour == (0, 0, 0)
        }
        assert {100.0, 101.6} <= level


def test_no_words_lie_over_lines_or_words_or_beyond_the_printers_margin(usual: list[PageRead]) -> None:
    for page in usual:
        # On the first page's maps, names stand in white boxes over the lines.
        boxes = shapely.union_all(page.fills) if page is usual[0] else Polygon()
        tree = shapely.STRtree([each.line.difference(boxes) for each in page.strokes])
        inner = box(0, 0, *page.size).buffer(-USUAL.templates.margin + 0.05, join_style="mitre")
        for letter, place in page.letters:
            assert inner.contains(place), letter
            hit = tree.query(place.buffer(-0.05), predicate="intersects")
            assert not hit.size, (letter, place.centroid, page.text)
        shrunk = [place.buffer(-0.1) for _, place in page.letters]
        pairs = shapely.STRtree(shrunk).query(shrunk, predicate="overlaps")
        assert not pairs.size


def test_every_page_says_what_is_on_it(usual: list[PageRead]) -> None:
    whole = [number for number, page in enumerate(usual) if "Paper templates" in page.text]
    assert whole == [0]
    spreads = [spread for spread in spreads_in(USUAL) for _ in spread.cells]
    for spread, page in zip(spreads, usual[1:], strict=True):
        assert f"page {usual.index(page) + 1} of {len(usual)}" in page.text
        assert any(f"{each.template.number} {each.template.part.name}" in page.text for each in spread.laid)
    text = " ".join(" ".join(page.text for page in usual).split())
    for words in ("cut 4, 2 of them turned over", "cut 24", "fold 90°", "22.5°", "bevel 30°", "eva 10 mm"):
        assert words in text, words


def test_the_first_page_tells_how_to_print_and_what_lines_mean(usual: list[PageRead]) -> None:
    text = " ".join(usual[0].text.split())
    assert "Print At 100 % (actual size)" in text
    assert "'fit to page'" in text
    for words in ("cut", "mark", "fold", "bevel", "notch", "crosses", "the next page lies here"):
        assert words in text
    for number, part in enumerate(USUAL.parts, start=1):
        assert f"{number} {part.name}" in text


def test_folds_marks_and_bevels_are_drawn_in_their_own_way(usual: list[PageRead]) -> None:
    """The strip's lines: three folds and a bevel of 60 mm, and a mark of 50 mm."""
    strip = [page for page in usual if "1 quay wall" in page.text and "spread" in page.text]
    looks = {(each.dashes, each.colour == (0, 0, 0)) for page in strip for each in page.strokes}
    assert {(0, True), (4, False), (2, False)} <= looks
    # A mark is never black, and dashed where cuts are not: told apart in colour and without.
    marks = [each for page in strip for each in page.strokes if abs(each.line.length - 50.0) < EXACT]
    assert any(each.dashes == 2 and each.colour != (0, 0, 0) for each in marks)
    legend = " ".join(usual[0].text.split())
    assert "thick black line: cut" in legend
    assert "green dashes: a mark; draw it, don't cut it" in legend
    assert "on page" in legend
    folds = [each.line.length for page in strip for each in page.strokes if each.dashes == 4]
    assert sum(abs(length - 60.0) < EXACT for length in folds) >= 3


def test_neighbours_have_their_crosses_at_the_same_place() -> None:
    build = build_with(
        [Part("plate", Shape(Outline(rectangle(330, 400, 20))), "eva", 6.0)], Templates(which="all")
    )
    pages = read_pages(book_of(build).data)[1:]
    assert len(pages) == 4
    wide, tall = 190.0, 297.0 - 20.0 - FOOT
    places: dict[tuple[float, float], int] = {}
    for page, (column, row) in zip(pages, ((0, 0), (1, 0), (0, 1), (1, 1)), strict=True):
        for each in page.strokes:
            x0, y0, x1, y1 = each.line.bounds
            if abs(x1 - x0 - 2.2) < 0.01 and abs(y1 - y0 - 2.2) < 0.01:
                x = (x0 + x1) / 2 - 10.0 + column * (wide - 10.0)
                y = (y0 + y1) / 2 - 10.0 - FOOT + (1 - row) * (tall - 10.0)
                at = round(x, 1) + 0.0, round(y, 1) + 0.0
                places[at] = places.get(at, 0) + 1
    # Three for each of the four strips, each on both pages.
    assert len(places) == 12
    assert set(places.values()) == {2}


def test_the_same_build_gives_the_same_bytes() -> None:
    first, second = (book_of(build_with(usual_parts(), Templates(which="all"))).data for _ in range(2))
    assert first == second
    assert b"/CreationDate (D:2000" in first


def test_letters_that_the_font_lacks_become_others() -> None:
    build = build_with([Part("Żagiel 帆 №", disc(60), "eva", 6.0)], Templates(which="all"), name="Łódź")
    text = read_pages(book_of(build).data)[1].text
    assert "1 Zagiel ? N" in text
    assert "?ódz" in text


def test_an_inch_build_prints_inches_first() -> None:
    build = build_with([Part("rail", disc(50.8), "eva", 6.35)], Templates("letter", which="all"), unit="in")
    pages = read_pages(book_of(build).data)
    assert "eva 0.25 in" in pages[1].text
    assert "4 x 4 in" in pages[0].text
    assert pages[1].text.index("4 inches") < pages[1].text.index("100 mm")


def test_nothing_asked_for_gives_no_file() -> None:
    build = build_with(usual_parts(), Templates(which="none"))
    assert template_book(build, Plan("b", 1.0, 1, (), (), ())) is None
    assert template_book(build_with(usual_parts(), Templates()), Plan("b", 1.0, 1, (), (), ())) is None


def test_a_part_that_is_too_large_is_named_on_the_first_page() -> None:
    wall = Part("sea wall", Shape(Outline(rectangle(6000, 4000))), "eva", 6.0)
    book = book_of(build_with([wall], Templates(which="all")))
    assert [each.part.name for each in book.left_out] == ["sea wall"]
    assert book.pages == 1
    assert "No template for 1 sea wall" in read_pages(book.data)[0].text
