"""Cut order: what must come first does, nothing gets lost, assemblies keep their turn."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path as FilePath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.build.model import Assembly, Build, Cutter, Labels, Part
from nestkit.cutting.jobs import kerf_findings, make_jobs
from nestkit.geometry import Line, LineKind, Outline, Path, Placement, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet
from nestkit.planning import _numbered
from tests.zoo import disc, frame, rectangle


def part(name, outline, assembly="", lines=()) -> Part:
    return Part(name, Shape(outline, tuple(lines)), "eva", 6.0, copies=9, assembly=assembly)


def build(parts, assemblies=(), **cutter) -> Build:
    made = Cutter(**{"kerf": 0.2, **cutter})
    named = {"assemblies": tuple(assemblies), "parts": tuple(parts), "labels": Labels(numbers=False)}
    return Build("b", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, made, (), **named)


def sheet(*placed, how="laser") -> PlannedSheet:
    edge = rectangle(600, 400)
    return PlannedSheet(1, "eva 6 mm", 1, True, None, "eva", 6.0, edge, how, tuple(placed))


def at(part, copy, x, y, turn=0.0) -> PlacedPart:
    return PlacedPart(part, copy, Placement(x, y, turn))


def names(job) -> list[str]:
    return [f"{s.part}{s.copy} {s.layer}" for s in job.strokes]


def test_marks_then_what_lies_in_the_window_then_the_window_then_the_outline():
    mark = Line(LineKind.MARK, Path.polyline([(5, 5), (15, 5)], False))
    window = part("frame", frame(200, 20), lines=[mark])
    coin = part("coin", disc(10), lines=[mark])
    (job,) = make_jobs(build([window, coin]), [sheet(at(window, 1, 100, 100), at(coin, 1, 200, 200))])
    assert sorted(names(job)[:2]) == ["coin1 MARK", "frame1 MARK"]
    assert names(job)[2:] == ["coin1 CUT_OUTSIDE", "frame1 CUT_INSIDE", "frame1 CUT_OUTSIDE"]


def test_a_part_that_touches_the_windows_cut_still_comes_before_it():
    ring = part("ring", Outline(Path.circle(0, 0, 50), (Path.circle(0, 0, 30),)))
    coin = part("coin", disc(10))
    # Gap and kerf are the same: the two cuts run along each other where the coin is nearest to the ring.
    (job,) = make_jobs(build([ring, coin]), [sheet(at(ring, 1, 100, 100), at(coin, 1, 119.8, 100))])
    assert names(job) == ["coin1 CUT_OUTSIDE", "ring1 CUT_INSIDE", "ring1 CUT_OUTSIDE"]


def test_windows_within_windows_go_from_the_inside_out():
    outer, middle, core = (
        part("outer", frame(200, 20)),
        part("middle", frame(100, 20)),
        part("core", disc(10)),
    )
    placed = (at(outer, 1, 50, 50), at(middle, 1, 100, 100), at(core, 1, 150, 150))
    (job,) = make_jobs(build([outer, middle, core]), [sheet(*placed)])
    assert names(job) == [
        "core1 CUT_OUTSIDE",
        "middle1 CUT_INSIDE",
        "middle1 CUT_OUTSIDE",
        "outer1 CUT_INSIDE",
        "outer1 CUT_OUTSIDE",
    ]


def test_assemblies_come_in_the_builds_order_unless_a_window_forces_it():
    first, second = Assembly("first", 1), Assembly("second", 2)
    a, b = part("a", frame(100, 10), "first"), part("b", rectangle(20, 20), "second")
    apart = sheet(at(b, 1, 10, 10), at(b, 2, 300, 300), at(a, 1, 100, 100))
    (job,) = make_jobs(build([a, b], [first, second]), [apart])
    assert [s.part for s in job.strokes] == ["a", "a", "b", "b"]
    inside = sheet(at(b, 1, 10, 10), at(b, 2, 140, 140), at(a, 1, 100, 100))
    (job,) = make_jobs(build([a, b], [first, second]), [inside])
    assert [f"{s.part}{s.copy}" for s in job.strokes] == ["b2", "a1", "a1", "b1"]


def test_paths_begin_where_the_way_is_shortest():
    """The three squares lie along the straight line to the last one's nearest corner: no way is shorter."""
    a = part("a", rectangle(20, 20))
    (job,) = make_jobs(build([a]), [sheet(at(a, 1, 500, 300), at(a, 2, 10, 10), at(a, 3, 250, 150))])
    assert [s.copy for s in job.strokes] == [2, 3, 1]
    assert job.travel == pytest.approx(math.hypot(499.9, 299.9), rel=2e-4)
    assert job.travel <= job.nearest


def test_time_by_hand():
    """Worked by hand: 320 mm of cuts at 20 mm/s, a mark of 50 mm at 100 mm/s, travel at 300 mm/s."""
    mark = Line(LineKind.MARK, Path.polyline([(10, 10), (60, 10)], False))
    plate = part("plate", rectangle(100, 60), lines=[mark])
    speeds = {"cut_speed": 20, "mark_speed": 100, "travel_speed": 300}
    (job,) = make_jobs(build([plate], kerf=0.0, **speeds), [sheet(at(plate, 1, 0, 0))])
    assert job.cut_length == pytest.approx(320)
    # From the corner to the mark's start; from its end straight down to the outline.
    way = math.hypot(10, 10) + 10
    assert job.travel == pytest.approx(way, abs=1e-2)
    assert job.seconds == pytest.approx(320 / 20 + 50 / 100 + way / 300, abs=1e-4)


def test_sheets_for_the_hand_have_no_kerf_and_no_time():
    plate = part("plate", rectangle(100, 60))
    (job,) = make_jobs(build([plate]), [sheet(at(plate, 1, 5, 5), how="hand")])
    assert job.strokes[0].path.signed_area == pytest.approx(6000)
    assert job.seconds == 0.0


def test_kerf_findings_name_their_part():
    pierced = part("pierced", Outline(rectangle(50, 50).exterior, (Path.circle(25, 25, 0.05),)))
    found = kerf_findings(build([pierced, part("plain", rectangle(20, 20))]))
    assert list(found) == ["pierced"]
    assert kerf_findings(build([pierced], kind="hand")) == {}


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 5), st.integers(0, 3), st.booleans()), max_size=14, unique_by=lambda t: t[:2]
    ),
    st.integers(0, 2),
)
def test_precedences_hold_on_random_sheets(cells, tabs):
    mark = Line(LineKind.MARK, Path.polyline([(2, 2), (6, 2)], False))
    assemblies = [Assembly("one", 1), Assembly("two", 2)]
    rim = part("rim", frame(80, 10), "two", [mark])
    pip = part("pip", frame(30, 5), "one", [mark])
    dot = part("dot", disc(5))
    placed = []
    for copy, (i, j, inner) in enumerate(cells, start=1):
        placed.append(at(rim, copy, i * 95, j * 95))
        if inner:
            placed += [at(pip, copy, i * 95 + 20, j * 95 + 20), at(dot, copy, i * 95 + 35, j * 95 + 35)]
    numbered = replace(build([rim, pip, dot], assemblies, tabs=tabs, tabs_up_to=30), labels=Labels())
    (job,) = make_jobs(numbered, [sheet(*placed)])
    place = {name: k for k, name in enumerate(names(job))}
    runs = sum(job.tabs.values()) - len(job.tabs)
    assert len(job.tabs) == (sum(p.part is not rim for p in placed) if tabs else 0)
    assert set(job.tabs.values()) <= {tabs}
    # The runs of an outline are not parted.
    assert len(list(itertools.groupby(names(job)))) == len(place)
    assert (
        len(place)
        == len(job.strokes) - runs
        # A dot's number, 3, is one stroke; the others have marks and go without.
        == sum(1 + len(p.shape.lines) + len(p.part.shape.outline.holes) + (p.part is dot) for p in placed)
    )
    last_mark = max((k for name, k in place.items() if "MARK" in name or "LABEL" in name), default=-1)
    assert all(k > last_mark for name, k in place.items() if "CUT" in name)
    for p in placed:
        own = f"{p.part.name}{p.copy}"
        if p.part.shape.outline.holes:
            assert place[f"{own} CUT_INSIDE"] < place[f"{own} CUT_OUTSIDE"]
    for copy, (_, _, inner) in enumerate(cells, start=1):
        if inner:
            assert place[f"dot{copy} CUT_OUTSIDE"] < place[f"pip{copy} CUT_INSIDE"]
            assert place[f"pip{copy} CUT_OUTSIDE"] < place[f"rim{copy} CUT_INSIDE"]


def test_bed_loads_are_numbered_so_that_gluing_starts_early_and_spares_wait():
    first, second = Assembly("first", 1), Assembly("second", 2)
    a = replace(part("a", rectangle(20, 20), "first"), copies=2, spares=1)
    b = part("b", rectangle(30, 30), "second")
    spare, needed = (
        replace(sheet(at(a, 2, 10, 10)), stock="spare"),
        replace(sheet(at(a, 1, 10, 10)), stock="a"),
    )
    later = replace(sheet(at(b, 1, 10, 10), at(a, 2, 90, 10)), stock="b")
    by_hand = replace(sheet(at(a, 1, 10, 10), how="hand"), stock="hand")
    numbered = _numbered([by_hand, spare, later, needed], build([a, b], [first, second]))
    assert [each.stock for each in numbered] == ["a", "b", "spare", "hand"]
    assert [each.index for each in numbered] == [1, 2, 3, 4]
