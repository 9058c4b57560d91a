"""Labels: the right number, inside the foam and clear of everything, readable whichever way a copy lies."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.build.model import Build, Cutter, Labels, Part
from nestkit.build.pattern_info import PatternInfo
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.label_places import CLEAR, SMALLEST
from nestkit.cutting.labels import BY_HAND, NO_ROOM, NOT_ASKED, SHOWS, labels_on
from nestkit.cutting.lettering import ink_box, is_ambiguous, text_strokes
from nestkit.geometry import Line, LineKind, Outline, Path, Placement, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet
from tests.strategies import outlines
from tests.zoo import rectangle

MARK = Line(LineKind.MARK, Path.polyline([(5.0, 5.0), (40.0, 5.0)], False))


def part(outline: Outline, *lines: Line, **more) -> Part:
    return Part("plate", Shape(outline, lines), "eva", 6.0, copies=9, **more)


def build(*parts: Part, number: int = 1, **labels) -> Build:
    """A build whose first part has this number."""
    others = [replace(parts[0], name=f"other {k}") for k in range(1, number)]
    made = Cutter(kerf=0.2)
    every = (*others, *parts)
    return Build(
        "b", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, made, (), (), every, labels=Labels(**labels)
    )


def on_sheet(one: Part, place: Placement, how: str = "laser") -> tuple[PlannedSheet, PlacedPart]:
    placed = PlacedPart(one, 1, place)
    return PlannedSheet(1, "eva", 1, True, None, "eva", 6.0, rectangle(900, 600), how, (placed,)), placed


def written(made: Build, one: Part, place: Placement | None = None, how: str = "laser"):
    sheet, placed = on_sheet(one, place or Placement(), how)
    found = labels_on(made, sheet, placed)
    return found.no_number or found.labels


def ink(labels) -> shapely.Geometry:
    return shapely.union_all([shapely.LineString(path.points) for one in labels for path in one.paths()])


# ---------------------------------------------------------------------------------------------- places


@given(
    outlines(),
    st.integers(1, 120),
    st.floats(0.0, math.tau),
    st.booleans(),
    st.floats(2.0, 12.0),
    st.booleans(),
)
@settings(max_examples=120, deadline=None)
def test_a_label_lies_in_the_foam_clear_of_edges_holes_and_folds(
    outline, number, turn, mirrored, height, fold
):
    x0, y0, x1, y1 = outline.bounds
    middle = (y0 + y1) / 2.0
    line = Line(LineKind.FOLD, Path.polyline([(x0, middle), (x1, middle)], False), 0.0)
    one = part(outline, *[line] * fold)
    place = Placement(300.0, 200.0, turn, mirrored)
    labels = written(build(one, number=number, height=height), one, place)
    if isinstance(labels, str):
        assert labels == NO_ROOM
        return
    (label,) = labels
    assert label.text == str(number)
    assert min(SMALLEST, height) - 1e-9 <= label.height <= height + 1e-9
    text, foam = ink(labels), outline.transformed(place.matrix).polygon(0.001)
    assert foam.contains(text)
    assert foam.boundary.distance(text) >= CLEAR
    if fold:
        crossing = line.path.transformed(place.matrix).points
        assert shapely.LineString(crossing).distance(text) >= CLEAR


@given(st.floats(4.0, 60.0), st.floats(4.0, 60.0))
@settings(max_examples=60, deadline=None)
def test_a_rectangle_takes_the_largest_size_that_fits(width, height):
    one = part(rectangle(width, height))
    labels = written(build(one, number=4), one)
    x0, y0, x1, y1 = ink_box("4")
    away = 2.0 * (CLEAR + 0.12)

    def fits(size: float) -> bool:
        w, h = (x1 - x0) * size + 0.02, (y1 - y0) * size + 0.02
        return (w < width - away and h < height - away) or (h < width - away and w < height - away)

    if fits(6.0):
        assert not isinstance(labels, str)
        assert labels[0].height == 6.0
    elif not isinstance(labels, str):
        assert labels[0].height < 6.0
    else:
        assert not fits(SMALLEST)


def test_it_stands_at_the_widest_place():
    # A club: a disc of 80 mm at the end of a handle. Its pole of inaccessibility is the disc's middle.
    disc = shapely.Point(0.0, 0.0).buffer(40.0).union(shapely.box(0.0, -10.0, 300.0, 10.0))
    one = part(Outline(Path.polyline(list(disc.exterior.coords)[:-1], True)))
    (label,) = written(build(one, number=8), one)
    x0, y0, x1, y1 = ink((label,)).bounds
    assert math.hypot((x0 + x1) / 2.0, (y0 + y1) / 2.0) < 1.0


def test_a_ring_is_numbered_on_its_rim():
    ring = Outline(Path.circle(0, 0, 60), (Path.circle(0, 0, 45),))
    one = part(ring)
    (label,) = written(build(one, number=3), one)
    nearest = shapely.Point(0.0, 0.0).distance(ink((label,)))
    assert 45.0 + CLEAR <= nearest <= 60.0 - CLEAR - label.height


# ------------------------------------------------------------------------------------------ whether at all


def test_a_marked_face_shows_and_carries_no_number_unless_it_is_asked_for():
    marked = part(rectangle(120, 80), MARK)
    assert written(build(marked), marked) == SHOWS
    asked = replace(marked, label=True)
    assert [one.text for one in written(build(asked), asked)] == ["1"]


def test_folds_close_towards_the_face_under_the_cutter_so_that_it_is_the_inside():
    fold = Line(LineKind.FOLD, Path.polyline([(60.0, 0.0), (60.0, 80.0)], False), math.pi / 2.0)
    folded = part(rectangle(120, 80), MARK, fold)
    assert not isinstance(written(build(folded), folded), str)
    pattern = part(rectangle(120, 80), MARK, pattern=PatternInfo("wrap", "plate", (), 0.0))
    assert not isinstance(written(build(pattern), pattern), str)


def test_a_pattern_that_stays_flat_and_a_chamfered_plate_show_the_marks_that_were_drawn():
    stack = part(rectangle(120, 80), MARK, pattern=PatternInfo("stack", "plate", (), None))
    assert written(build(stack), stack) == SHOWS
    smooth = part(rectangle(120, 80), pattern=PatternInfo("stack", "plate", (), None))
    assert not isinstance(written(build(smooth), smooth), str)
    chamfer = Line(LineKind.BEVEL, Path.polyline([(0.0, 0.0), (120.0, 0.0)], False), math.pi / 6.0)
    bevelled = part(rectangle(120, 80), MARK, chamfer)
    assert written(build(bevelled), bevelled) == SHOWS


def test_it_can_be_switched_off():
    one = part(rectangle(120, 80))
    assert written(build(one, numbers=False), one) == NOT_ASKED
    off = replace(one, label=False)
    assert written(build(off), off) == NOT_ASKED
    assert written(build(one), one, how="hand") == BY_HAND


def test_a_rivet_is_too_small():
    one = part(Outline(Path.circle(0, 0, 2.5)))
    assert written(build(one), one) == NO_ROOM


# -------------------------------------------------------------------------------------------- in the job


def test_a_job_writes_before_it_cuts_and_at_the_marks_speed():
    one = part(rectangle(120, 80))
    sheet, _ = on_sheet(one, Placement(50.0, 50.0))
    (plain,) = make_jobs(build(one, numbers=False), [sheet])
    (job,) = make_jobs(build(one, number=47), [sheet])
    layers = [stroke.layer for stroke in job.strokes]
    # 4 has two strokes and 7 two.
    assert layers == ["LABEL"] * 4 + ["CUT_OUTSIDE"]
    assert job.cut_length == pytest.approx(plain.cut_length)
    drawn = sum(stroke.path.length for stroke in job.strokes[:4])
    assert job.times.marking == pytest.approx(drawn / 100.0)


def test_letters_of_two_copies_are_not_mixed():
    one = part(rectangle(120, 80))
    placed = tuple(PlacedPart(one, k, Placement(130.0 * k, 20.0)) for k in (1, 2, 3))
    sheet = PlannedSheet(1, "eva", 1, True, None, "eva", 6.0, rectangle(900, 600), "laser", placed)
    (job,) = make_jobs(build(one, number=44), [sheet])
    copies = [stroke.copy for stroke in job.strokes if stroke.layer == "LABEL"]
    assert len(copies) == 12
    assert [copies[k] for k in range(0, 12, 4)] == [copies[k + 3] for k in range(0, 12, 4)]


# ---------------------------------------------------------------------------------------------- the font


def test_digits_are_one_high_and_stand_on_the_base_line():
    for digit in "0123456789":
        points = np.concatenate([stroke for stroke in text_strokes(digit) if stroke[:, 1].min() >= 0.0])
        assert points[:, 1].min() == pytest.approx(0.0, abs=1e-9)
        assert points[:, 1].max() == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "twofold"),
    [("6", True), ("9", True), ("16", True), ("18", True), ("69", False), ("8", False), ("10", False),
     ("12", False), ("60", False), ("906", False), ("96", False), ("99", True), ("(6)", True)],
)  # fmt: skip
def test_numbers_that_read_otherwise_upside_down_are_underlined(text, twofold):
    assert is_ambiguous(text) == twofold
    lowest = min(float(stroke[:, 1].min()) for stroke in text_strokes(text.strip("()")))
    assert (lowest < 0.0) == twofold


def test_letters_that_the_font_lacks_are_refused():
    with pytest.raises(ValueError, match="stroke font has no"):
        text_strokes("½")
