"""The report: what it says. What a browser makes of it stands in test_report_browser.py."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from dataclasses import replace
from itertools import groupby

import pytest

from nestkit.build.model import Cutter, Hardware
from nestkit.build.pattern_info import PatternInfo, SeamInfo
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import Times
from nestkit.geometry import Placement
from nestkit.nesting.model import PlacedPart
from nestkit.output.report import report_bytes, report_of, script_data
from nestkit.output.report_words import estimate_words, show_time, show_weight
from nestkit.output.sums import foam_weight, glue_length
from tests.output.sample_plan import disc, lantern

CASE = lantern()


@pytest.fixture(scope="module")
def page() -> str:
    return report_bytes(CASE.build, CASE.plan, CASE.jobs).decode("utf-8")


def test_front_says_what_to_buy_and_what_is_left_out(page: str) -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    buy, pay, _, _ = report.figures
    assert (buy.value, buy.note, pay.value) == (
        "2",
        "1 x eva 6 mm 900 x 600, 1 x eva 10 mm 1500 x 1000; and 1 from the shop",
        "33.50",
    )
    assert (report.placed, report.asked) == (27, 28)
    assert report.left_out == (("pennant 1", CASE.plan.unplaced[0].why),)
    front = page[page.index("<main") : page.index('id="jobs"')]
    order = [
        "Sheets to buy",
        "33.50",
        "pennant 1",
        "the outline had a gap of 0.3 mm",
        "Cautions",
        "What to get</h2>",
    ]
    assert sorted(order, key=front.index) == order


def test_fewer_sheets_are_ruled_out_only_when_that_is_proven() -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    assert [group.verdict for group in report.groups] == [
        "at least 1 is certainly needed",
        "no plan can do with fewer: by the parts' area",
        "no plan can do with fewer: by the parts' area",
    ]
    assert report.figures[3].note == "all 3 are needed, and not every part has a place"
    more = tuple(replace(group, sheets_used=2, proven=False) for group in CASE.plan.groups)
    fewer = report_of(CASE.build, replace(CASE.plan, groups=more), CASE.jobs).figures[3]
    assert (fewer.value, fewer.note) == (
        "Not ruled out",
        "of these 6, 3 are certainly needed; a longer search (--seconds) may find fewer",
    )
    proven = replace(CASE.plan, groups=tuple(replace(group, proven=True) for group in CASE.plan.groups))
    assert report_of(CASE.build, proven, CASE.jobs).figures[3].value == "No"
    priced = [replace(group, proven=True, at_any_price=False) for group in CASE.plan.groups]
    told = report_of(CASE.build, replace(CASE.plan, groups=tuple(priced)), CASE.jobs)
    assert (
        told.groups[0].verdict
        == "no plan is cheaper, and none as cheap can do with fewer: by the parts' area"
    )
    assert told.figures[3].note == "no plan is cheaper, and none as cheap can do with fewer"


def test_assemblies_are_ready_after_their_last_sheet() -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    assert {page.name: page.ready for page in report.assemblies} == {
        "base": "after sheet 3",
        "lamp house": "after sheet 2",
        "roof": "after sheet 1",
        "no assembly": "not complete: 1 copy left out",
    }
    assert [sheet.ready for sheet in report.sheets] == [("roof",), ("lamp house",), ("base",), ()]


def test_spares_do_not_delay_gluing() -> None:
    first, *rest = CASE.plan.sheets
    bracket = next(part for part in CASE.build.parts if part.spares)
    spares = [p for p in rest[0].placed if p.part is bracket and p.copy > bracket.copies - bracket.spares]
    late = replace(rest[2], placed=(*rest[2].placed, *spares))
    rest[0] = replace(rest[0], placed=tuple(p for p in rest[0].placed if p not in spares))
    sheets = (first, rest[0], rest[1], late)
    jobs = tuple(replace(job, sheet=sheet) for job, sheet in zip(CASE.jobs, sheets, strict=True))
    # The job's strokes are of no matter here; those of copies that moved away are dropped.
    jobs = tuple(
        replace(job, strokes=tuple(s for s in job.strokes if (s.part, s.copy) in on(job.sheet)))
        for job in jobs
    )
    pages = report_of(CASE.build, replace(CASE.plan, sheets=sheets), jobs).assemblies
    assert next(page.ready for page in pages if page.name == "lamp house") == "after sheet 2"


def on(sheet: object) -> set[tuple[str, int]]:
    return {(p.part.name, p.copy) for p in sheet.placed}  # type: ignore[attr-defined]


def test_blanks_are_told_with_their_place() -> None:
    (stock,) = report_of(CASE.build, CASE.plan, CASE.jobs).stock_sheets
    assert stock.title == "eva 10 mm 1500 x 1000, bought sheet number 1"
    assert stock.steps[1] == "Sheet 4: 1400 x 300 mm, 0 mm from the left and 600 mm from the bottom"


def test_every_copy_is_on_a_card_with_its_place_in_the_cut_order() -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    told = Counter(
        (card.name, sheet, int(number))
        for card in report.cards
        for sheet, numbers in card.places
        for number in numbers.split(", ")
    )
    rows = Counter((row.part, sheet.index, row.number) for sheet in report.sheets for row in sheet.copies)
    assert told == rows
    assert [card.name for card in report.by_hand] == ["mast step"]
    frame = next(card for card in report.cards if card.name == "window frame")
    assert (frame.count, frame.facts) == ("4", ("fold 90°",))
    bracket = next(card for card in report.cards if card.name == "corner bracket")
    assert (bracket.count, bracket.facts) == ("6 + 2 spares", ("every second copy is mirrored",))
    assert sorted(card.name for page in report.assemblies for card in page.cards) == sorted(
        card.name for card in report.cards
    )


def test_seams_are_numbered_through_and_told_once() -> None:
    gore, strip = (part for part in CASE.build.parts if part.assembly == "roof")
    seams = (
        SeamInfo("roof gore", "roof gore", 6, 231.0, math.radians(30.0)),
        SeamInfo("trim strip", "", 1, 540.0, None, True),
    )
    info = PatternInfo(
        "dome", "roof gore", (("height", 120.0, False),), 0.01, ("glue it", "dry it"), seams=seams
    )
    parts = tuple(replace(part, pattern=info) if part in (gore, strip) else part for part in CASE.build.parts)
    pages = report_of(replace(CASE.build, parts=parts), CASE.plan, CASE.jobs).assemblies
    roof = next(page for page in pages if page.name == "roof")
    assert [(row.number, row.size) for row in roof.seams] == [(1, "6 x 231 mm, at 30°"), (2, "540 mm")]
    assert roof.notes == ("roof gore: glue it.", "roof gore: dry it.")
    # 6 x 231 + 540, and a fold of 180 mm on each of four window frames.
    assert glue_length(replace(CASE.build, parts=parts)) == pytest.approx(6 * 231 + 540 + 4 * 180)


def test_weight_is_volume_times_density_without_spares() -> None:
    weight = foam_weight(CASE.build, CASE.plan)
    wanted = sum(
        (part.copies - part.spares) * part.shape.outline.area * part.thickness
        for part in CASE.build.parts
        if part.name != "pennant"
    )
    assert weight.kg == pytest.approx(wanted * 1e-9 * 100.0)
    assert (weight.assumed, weight.unknown) == ((("eva", 100.0),), ())
    heavy = tuple(replace(sheet, density=250.0) for sheet in CASE.build.sheets)
    assert foam_weight(replace(CASE.build, sheets=heavy), CASE.plan).kg == pytest.approx(2.5 * weight.kg)
    strange = replace(
        CASE.plan, sheets=tuple(replace(sheet, material="marsh reed") for sheet in CASE.plan.sheets)
    )
    assert foam_weight(CASE.build, strange).unknown == ("marsh reed",)


@pytest.mark.parametrize(
    ("kg", "unit", "shown"),
    [(0.854, "mm", "850 g"), (1.94, "mm", "1.9 kg"), (0.45359237, "in", "1 lb 0 oz"), (0.1, "in", "4 oz")],
)
def test_weights(kg: float, unit: str, shown: str) -> None:
    assert show_weight(kg, unit) == shown  # type: ignore[arg-type]


def test_hardware_is_told_with_the_length_to_cut() -> None:
    build = replace(CASE.build, hardware=(Hardware("mast", 40.0, 36.0, 1200.0), Hardware("float", 76.0)))
    report = report_of(build, CASE.plan, CASE.jobs)
    assert [(row.name, row.size, row.length) for row in report.hardware] == [
        ("mast", "40 mm across, 36 mm inside", "1200 mm"),
        ("float", "76 mm across", "-"),
    ]


def test_steps_are_the_jobs_strokes_in_runs() -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    data = json.loads(script_data(report))
    for sheet, job, played in zip(report.sheets, CASE.jobs, data, strict=True):
        runs = [
            (key, len(list(run)))
            for key, run in groupby(job.strokes, key=lambda stroke: (stroke.layer, stroke.part, stroke.copy))
        ]
        names = [(row.part, row.copy) for row in sheet.copies]
        told = [
            ((sheet.play.layers[layer].name, *names[part]), paths)
            for layer, _, part, paths, _ in played["steps"]
        ]
        assert told == runs
        times = [step[4] for step in played["steps"]]
        assert times == sorted(times)
        assert times[-1] == pytest.approx(job.seconds, abs=0.1)
        # Every step ends where one of the layer's paths ends.
        for layer, end, *_ in played["steps"]:
            rest = sheet.play.layers[layer].data[end:]
            assert not rest or rest.startswith("M")


def test_script_data_cannot_end_its_element() -> None:
    report = report_of(CASE.build, CASE.plan, CASE.jobs)
    assert not re.search(r"[<>&]", script_data(report))


def test_lengths_are_in_the_builds_unit() -> None:
    page = report_bytes(replace(CASE.build, unit="in"), CASE.plan, CASE.jobs).decode("utf-8")
    visible = re.sub(r"<svg.*?</svg>|<style>.*?</style>|<script.*?</script>", "", page, flags=re.S)
    assert "10.236 x 7.087 in" in visible
    # Millimetres stand only in what the maker, the plan or a drawing called something.
    for named in (*(sheet.name for sheet in CASE.build.sheets), CASE.plan.unplaced[0].why, "0.3 mm"):
        visible = visible.replace(named, "")
    assert not re.search(r"\d mm", visible)


def test_nothing_comes_from_elsewhere(page: str) -> None:
    bare = page.replace('"http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?://|@import|url\((?!#)|src=|fetch|XMLHttp|import\(", bare)
    assert set(re.findall(r'href="([^"#]+)"', page)) == {
        "data:,",
        *(f"jobs/{job.name}.dxf" for job in CASE.jobs),
    }


def test_a_plan_without_sheets_can_be_read() -> None:
    empty = replace(CASE.plan, groups=(), sheets=())
    page = report_bytes(CASE.build, empty, ()).decode("utf-8")
    assert "Not ruled out" in page
    assert "no plan can do with fewer" not in page


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (83, "1 min 23 s"),
        (599.6, "10 min"),
        (3569, "59 min"),
        (3599, "1 h 00 min"),
        (3900, "1 h 05 min"),
    ],
)
def test_times(seconds: float, shown: str) -> None:
    assert show_time(seconds) == shown


def test_it_says_what_times_are_made_of_and_how_to_better_them() -> None:
    assert estimate_words(Cutter(), "mm", etched=True) == (
        "Times are estimates: cuts at 20 mm/s; marks and labels at 100 mm/s; ways between at 300 mm/s; "
        "etched lines at 200 mm/s, 0.1 mm apart; always at full speed, for the build file gives no "
        "acceleration. Time one job: measured over estimated is the time_factor for your machine."
    )
    swift = Cutter("knife", acceleration=2540.0, start_time=0.4, time_factor=1.25)
    assert estimate_words(swift, "in", etched=False) == (
        "Times are estimates: cuts at 0.787 in/s; marks and labels at 3.937 in/s; "
        "ways between at 11.811 in/s; 0.4 s to begin a path; gaining and losing speed at 100 in/s²; "
        "all of it times 1.25. Time one job: measured over estimated, times 1.25, is the time_factor "
        "for your machine."
    )
    assert report_of(CASE.build, CASE.plan, CASE.jobs).times == estimate_words(
        CASE.build.cutter, "mm", etched=False
    )
    by_hand = [replace(job, sheet=replace(job.sheet, how="hand"), times=Times()) for job in CASE.jobs]
    assert report_of(CASE.build, CASE.plan, by_hand).times == ""


def test_sheets_show_their_tabs() -> None:
    plate = replace(CASE.build.parts[0], tabs=2)
    part = replace(plate, shape=disc(30.0), name="lid")
    sheet = replace(CASE.plan.sheets[1], placed=(PlacedPart(part, 1, Placement(50.0, 50.0)),))
    build = replace(CASE.build, parts=(part,))
    page = report_bytes(build, replace(CASE.plan, sheets=(sheet,)), make_jobs(build, [sheet])).decode("utf-8")
    assert page.count('<path class="tabs"') == 1
    assert "held by 2 tabs (dots): cut them through by hand" in page
