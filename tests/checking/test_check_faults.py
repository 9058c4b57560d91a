"""Each fault that is planted in a right folder is found, and nothing else is told along with it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.checking import check_folder
from tests.checking.made import (
    KERF,
    ONE,
    SPECS,
    SPOTS,
    TWO,
    WING,
    Made,
    Row,
    Spot,
    block,
    corners,
    disc,
    flat,
    made,
)

OUT, IN = "CUT_OUTSIDE", "CUT_INSIDE"
Action = Callable[[Made], object]
PLANTED: dict[str, tuple[frozenset[str], Action]] = {}


def found_by(*codes: str) -> Callable[[Action], Action]:
    """Register a fault with the codes, no more and no less, by which it must be found."""

    def register(action: Action) -> Action:
        PLANTED[action.__name__] = (frozenset(codes), action)
        return action

    return register


def shift_everywhere(m: Made, part: str, copy: int, dx: float) -> None:
    """Move a copy to the right in the DXF and in plan.json."""
    m.every(ONE, part, copy, lambda one: one.shifted(dx, 0.0))
    spot = m.spot(part, copy)
    spot["x_mm"] += dx
    spot["outline_mm"] = [[x + dx, y] for x, y in spot["outline_mm"]]


def spot_of(part: str, copy: int = 1, job: str = ONE) -> Spot:
    return next(spot for spot in SPOTS[job] if (spot.part, spot.copy) == (part, copy))


# -- places ---------------------------------------------------------------------------------------------


@found_by("moved")
def part_moved(m: Made) -> None:
    m.every(ONE, "lever", 1, lambda one: one.shifted(0.0, 0.3))


@found_by("moved")
def part_with_holes_and_marks_moved(m: Made) -> None:
    m.every(ONE, "plate", 1, lambda one: one.shifted(0.2, 0.0))


@found_by("hole-wrong")
def hole_moved(m: Made) -> None:
    k = m.find(ONE, IN, "plate", nth=1)
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(0.08, 0.0)


@found_by("hole-wrong")
def hole_moved_far(m: Made) -> None:
    k = m.find(ONE, IN, "plate", nth=1)
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(0.0, 40.0)


@found_by("too-close", "moved")
def too_close(m: Made) -> None:
    m.every(ONE, "puck", 2, lambda one: one.shifted(-8.5, 0.0))  # 10 mm apart, less 8.5


@found_by("too-close", "moved")
def too_close_in_a_hole(m: Made) -> None:
    m.every(ONE, "puck", 1, lambda one: one.shifted(-8.1, 0.0))  # 10 mm from the window's edge


@found_by("overlap", "moved")
def overlapping(m: Made) -> None:
    m.every(ONE, "puck", 2, lambda one: one.shifted(-12.0, 0.0))


@found_by("outside", "moved")
def outside_the_blank(m: Made) -> None:
    m.every(ONE, "wing", 1, lambda one: one.shifted(-10.5, 0.0))


@found_by("margin", "moved")
def in_the_margin(m: Made) -> None:
    m.every(ONE, "wing", 1, lambda one: one.shifted(-5.5, 0.0))


@found_by("bed")
def larger_than_the_bed(m: Made) -> None:
    m.plan["cutter"]["bed_mm"] = [399.0, 300.0]


@found_by("burnt")
def gap_less_than_the_kerf(m: Made) -> None:
    m.plan["layout"]["gap_mm"] = 0.0
    shift_everywhere(m, "puck", 1, -9.9)  # 0.1 mm from the window's edge


@found_by("sheet-edge")
def blanks_edge_wrong(m: Made) -> None:
    m.change(ONE, 0, rows=block(0, 0, 400, 251)(0))


@found_by("sheet-edge")
def blanks_edge_missing(m: Made) -> None:
    del m.jobs[ONE][0]


# -- copies ---------------------------------------------------------------------------------------------


@found_by("missing")
def copy_missing(m: Made) -> None:
    del m.jobs[ONE][m.find(ONE, OUT, "puck", 2)]


@found_by("doubled")
def outline_doubled(m: Made) -> None:
    m.jobs[ONE].append(m.jobs[ONE][m.find(ONE, OUT, "lever")])


@found_by("doubled")
def outline_doubled_the_other_way_round(m: Made) -> None:
    one = m.jobs[ONE][m.find(ONE, OUT, "wing")]
    m.jobs[ONE].append(replace(one, rows=[*one.rows[2::-1], *one.rows[:2:-1]]))


@found_by("doubled")
def hole_doubled(m: Made) -> None:
    k = m.find(ONE, IN, "plate", nth=1)
    m.jobs[ONE].insert(k, m.jobs[ONE][k])


@found_by("doubled")
def mark_doubled(m: Made) -> None:
    m.jobs[ONE].insert(1, m.jobs[ONE][1])


@found_by("doubled")
def copy_cut_twice_in_one_file(m: Made) -> None:
    m.jobs[ONE].append(m.jobs[ONE][m.find(ONE, OUT, "puck", 2)].shifted(60.0, 0.0))


@found_by("doubled")
def copy_cut_on_both_sheets(m: Made) -> None:
    rows = SPECS["puck"].outline(0.0)
    one = replace(m.jobs[ONE][m.find(ONE, OUT, "puck", 2)], rows=[(x + 62, y + 10, b) for x, y, b in rows])
    m.jobs[TWO].append(one)


@found_by("wrong-sheet")
def copy_on_the_other_sheet(m: Made) -> None:
    copy_cut_on_both_sheets(m)
    copy_missing(m)


@found_by("unknown-part", "missing")
def unknown_part(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "lever"), part="rudder")


@found_by("unknown-copy", "missing")
def unknown_copy(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "puck", 2), copy=3)


@found_by("no-name")
def name_missing(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "lever"), part="")


@found_by("no-name")
def name_of_a_hole_missing(m: Made) -> None:
    m.change(ONE, m.find(ONE, IN, "plate"), part="")


@found_by("no-name")
def name_of_a_mark_missing(m: Made) -> None:
    m.change(ONE, m.find(ONE, "MARK", "plate"), part="")


@found_by("moved")
def outline_alone_moved(m: Made) -> None:
    k = m.find(ONE, OUT, "plate")
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(0.2, 0.0)


@found_by("missing")
def outline_with_holes_missing(m: Made) -> None:
    del m.jobs[ONE][m.find(ONE, OUT, "plate")]


@found_by("left-out")
def copy_left_out(m: Made) -> None:
    copy_missing(m)
    sheet = m.plan["sheets"][0]
    sheet["parts"] = [one for one in sheet["parts"] if (one["part"], one["copy"]) != ("puck", 2)]
    m.plan["unplaced"] = [{"part": "puck", "copy": 2, "why": "no sheet has room for it"}]
    area, whole = SPECS["puck"].area, 400.0 * 250.0
    sheet["fill"] -= area / whole
    sheet["cut_length_mm"] -= 2 * math.pi * 15.1
    m.plan["groups"][0]["waste"] += area / whole
    m.plan["groups"][0]["proven"] = False


@found_by("left-out", "left-out-cut")
def copy_left_out_and_cut(m: Made) -> None:
    copy_left_out(m)
    m.jobs[ONE] = made().jobs[ONE]


# -- sizes ----------------------------------------------------------------------------------------------


@found_by("scale")
def file_scaled_by_25_4(m: Made) -> None:
    m.jobs[ONE] = [one.scaled(25.4) for one in m.jobs[ONE]]


@found_by("scale")
def file_scaled_down_by_25_4(m: Made) -> None:
    m.jobs[TWO] = [one.scaled(1 / 25.4) for one in m.jobs[TWO]]


@found_by("size", "outside")
def part_scaled_by_25_4(m: Made) -> None:
    m.every(ONE, "puck", 2, lambda one: one.scaled(25.4))


@found_by("size")
def size_wrong_by_a_tenth(m: Made) -> None:
    spot = spot_of("wing")
    wider = corners(*((x * 90.1 / 90.0, y) for x, y in WING))
    m.change(ONE, m.find(ONE, OUT, "wing"), rows=spot.put(wider(KERF / 2)))


@found_by("size")
def disc_wrong_by_a_tenth(m: Made) -> None:
    spot = spot_of("puck", 2)
    m.change(ONE, m.find(ONE, OUT, "puck", 2), rows=spot.put(disc(15, 15, 15.05)(KERF / 2)))


@found_by("size")
def part_list_says_another_size(m: Made) -> None:
    next(one for one in m.plan["parts"] if one["part"] == "lever")["width_mm"] = 116.1


@found_by("hole-wrong")
def hole_wrong_by_a_tenth(m: Made) -> None:
    rows = spot_of("plate").put(block(20, 20, 80.1, 80)(-KERF / 2))
    m.change(ONE, m.find(ONE, IN, "plate"), rows=rows)


@found_by("kerf")
def kerf_on_the_wrong_side(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "wing"), rows=spot_of("wing").put(SPECS["wing"].outline(-KERF / 2)))


@found_by("kerf")
def kerf_left_out(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "lever"), rows=spot_of("lever").put(SPECS["lever"].outline(0.0)))


@found_by("kerf")
def kerf_on_the_wrong_side_of_a_hole(m: Made) -> None:
    rows = spot_of("plate").put(SPECS["plate"].holes[0](KERF / 2))
    m.change(ONE, m.find(ONE, IN, "plate"), rows=rows)


@found_by("kerf")
def kerf_cut_by_hand(m: Made) -> None:
    m.plan["sheets"][1]["how"] = "laser"


@found_by("mirrored")
def mirrored_wrongly(m: Made) -> None:
    spot = replace(spot_of("wing", 2), mirrored=False, x=110.0)  # the same bounds
    m.change(ONE, m.find(ONE, OUT, "wing", 2), rows=spot.put(SPECS["wing"].outline(KERF / 2)))
    for k, layer in enumerate(("POCKET_01", "POCKET_02")):
        m.change(ONE, m.find(ONE, layer, "wing", 2), rows=spot.put(SPECS["wing"].marks[k][2]))


@found_by("mirrored")
def mirrored_against_the_rule(m: Made) -> None:
    next(one for one in m.plan["parts"] if one["part"] == "wing")["mirrored_pairs"] = False


@found_by("turned")
def turned_wrongly(m: Made) -> None:
    spot = replace(spot_of("lever"), turn=31.0)
    m.change(ONE, m.find(ONE, OUT, "lever"), rows=spot.put(SPECS["lever"].outline(KERF / 2)))


@found_by("turned")
def turned_by_a_quarter(m: Made) -> None:
    spot = replace(spot_of("wing"), x=90.0, turn=90.0)
    m.every(ONE, "wing", 1, lambda one: replace(one, rows=spot.put(SPECS["wing"].outline(KERF / 2))))
    m.jobs[ONE] = [one for one in m.jobs[ONE] if (one.part, one.copy, one.layer[:3]) != ("wing", 1, "POC")]
    next(one for one in m.plan["parts"] if one["part"] == "wing")["lines"] = 0


@found_by("shape")
def corner_pulled_inward(m: Made) -> None:
    points = [(x, y) if (x, y) != (40.0, 60.0) else (50.0, 60.0) for x, y in WING]
    m.change(ONE, m.find(ONE, OUT, "wing"), rows=spot_of("wing").put(corners(*points)(KERF / 2)))


@found_by("area")
def part_list_says_another_area(m: Made) -> None:
    m.plan["parts"][3]["area_mm2"] += 20.0  # within what a flattened outline may be off


@found_by("hole-missing")
def hole_missing(m: Made) -> None:
    del m.jobs[ONE][m.find(ONE, IN, "plate", nth=1)]


@found_by("kerf-hole")
def hole_narrower_than_the_kerf(m: Made) -> None:
    rows = spot_of("plate").put(disc(150, 100, 0.09)(0.0))
    m.spot("plate")["holes_mm"].append(flat(rows))
    m.plan["parts"][0]["holes"] = 3


@found_by("kerf-hole", "hole-extra")
def hole_narrower_than_the_kerf_and_another_too_many(m: Made) -> None:
    hole_narrower_than_the_kerf(m)
    hole_extra(m)


@found_by("hole-extra")
def hole_extra(m: Made) -> None:
    k = m.find(ONE, IN, "plate", nth=1)
    m.jobs[ONE].insert(k, m.jobs[ONE][k].shifted(0.0, -35.0))


@found_by("hole-elsewhere")
def hole_named_for_another_part(m: Made) -> None:
    m.change(ONE, m.find(ONE, IN, "plate", nth=1), part="lever")


@found_by("hole-elsewhere")
def hole_beside_every_part(m: Made) -> None:
    k = m.find(ONE, IN, "plate", nth=1)
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(140.0, 0.0)


@found_by("mark-missing")
def mark_missing(m: Made) -> None:
    del m.jobs[ONE][m.find(ONE, "MARK", "plate")]


@found_by("mark-outside")
def mark_outside(m: Made) -> None:
    k = m.find(ONE, "MARK", "plate")
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(11.0, 0.0)


# -- entities -------------------------------------------------------------------------------------------


@found_by("open")
def outline_opened(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "lever"), closed=False)


@found_by("open")
def hole_opened(m: Made) -> None:
    m.change(ONE, m.find(ONE, IN, "plate", nth=1), closed=False)


@found_by("crossing")
def outline_crossing(m: Made) -> None:
    rows = m.jobs[ONE][m.find(ONE, OUT, "wing")].rows
    m.change(ONE, m.find(ONE, OUT, "wing"), rows=[rows[1], rows[0], *rows[2:]])


@found_by("no-area")
def outline_without_area(m: Made) -> None:
    rows = m.jobs[ONE][m.find(ONE, OUT, "wing")].rows
    m.change(ONE, m.find(ONE, OUT, "wing"), rows=[rows[0], rows[1]])


@found_by("not-finite")
def coordinates_far_off(m: Made) -> None:
    m.every(ONE, "lever", 1, lambda one: one.shifted(1e9, 0.0))


@found_by("tilted")
def mirrored_by_its_plane(m: Made) -> None:
    m.extrusion[m.find(ONE, OUT, "lever")] = (0.0, 0.0, -1.0)


@found_by("hidden")
def layer_off(m: Made) -> None:
    m.layers_off = (OUT,)
    m.jobs[TWO] = [replace(one, layer=OUT) if one.layer == IN else one for one in m.jobs[TWO]][:0] or m.jobs[
        TWO
    ]


@found_by("layer")
def layer_renamed_in_the_list_alone(m: Made) -> None:
    m.layers_renamed = {IN: "HOLES"}


@found_by("layer")
def unknown_layer(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "lever"), layer="0")


@found_by("wrong-layer")
def outline_on_the_layer_of_holes(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "puck", 2), layer=IN)


@found_by("wrong-layer")
def outline_on_the_layer_of_marks(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "puck", 2), layer="MARK")


@found_by("wrong-layer")
def hole_on_the_layer_of_outlines(m: Made) -> None:
    m.change(ONE, m.find(ONE, IN, "plate", nth=1), layer=OUT)


@found_by("wrong-layer")
def hole_on_the_layer_of_marks(m: Made) -> None:
    k = m.find(ONE, IN, "plate", nth=1)
    m.change(ONE, k, layer="MARK")
    m.move_to(ONE, k, 1)


@found_by("type")
def line_in_place_of_a_mark(m: Made) -> None:
    m.change(ONE, m.find(ONE, "MARK", "plate"), kind="LINE")


@found_by("width")
def cut_drawn_with_a_width(m: Made) -> None:
    m.change(ONE, m.find(ONE, OUT, "lever"), width=3.0)


@found_by("paper-space")
def things_in_paper_space(m: Made) -> None:
    m.on_paper = ((10.0, 10.0), (20.0, 10.0))


# -- order ----------------------------------------------------------------------------------------------


@found_by("order-hole")
def hole_after_its_outline(m: Made) -> None:
    m.move_to(ONE, m.find(ONE, IN, "plate", nth=1), len(m.jobs[ONE]) - 1)


@found_by("order-mark")
def mark_after_a_cut(m: Made) -> None:
    m.move_to(ONE, m.find(ONE, "MARK", "plate"), m.find(ONE, IN, "plate", nth=1))


@found_by("order-nested")
def part_in_a_hole_after_that_hole(m: Made) -> None:
    m.move_to(ONE, m.find(ONE, OUT, "puck", 1), m.find(ONE, OUT, "plate"))


@found_by("order-pocket")
def passes_out_of_order(m: Made) -> None:
    m.move_to(ONE, m.find(ONE, "POCKET_02", "wing"), 1)


@found_by("order-sheet")
def blanks_edge_late(m: Made) -> None:
    m.move_to(ONE, 0, 3)


# -- the head -------------------------------------------------------------------------------------------


@found_by("unit")
def unit_inches(m: Made) -> None:
    m.header["$INSUNITS"] = 1


@found_by("measurement")
def not_metric(m: Made) -> None:
    m.header["$MEASUREMENT"] = 0


@found_by("version")
def another_version(m: Made) -> None:
    m.version = "R2018"


# -- plan.json ------------------------------------------------------------------------------------------


@found_by("plan-count")
def plan_counts_another_number_of_parts(m: Made) -> None:
    m.plan["groups"][0]["parts"] += 1


@found_by("plan-count", "plan-bound")
def plan_counts_another_number_of_sheets(m: Made) -> None:
    m.plan["groups"][0]["sheets_used"] = 2


@found_by("plan-count")
def plan_buys_too_few(m: Made) -> None:
    m.plan["groups"][1]["to_buy"] = []


@found_by("plan-count")
def more_unused_than_there_are(m: Made) -> None:
    m.plan["groups"][0]["unused"] = [{"stock": "eva 6 mm", "count": 1}]


@found_by("plan-count")
def group_missing(m: Made) -> None:
    del m.plan["groups"][1]


@found_by("plan-bound")
def fewer_sheets_than_needed(m: Made) -> None:
    m.plan["groups"][0].update(sheets_at_least=2, proven=False)


@found_by("plan-bound")
def proof_that_is_none(m: Made) -> None:
    m.plan["groups"][0]["sheets_at_least"] = 0


@found_by("plan-bound")
def cheaper_than_the_least(m: Made) -> None:
    m.plan["groups"][0].update(cost_at_least=10.0, proven=False)


@found_by("plan-bound")
def proof_of_a_cost_that_is_none(m: Made) -> None:
    m.plan["groups"][0]["cost_at_least"] = 9.0


@found_by("plan-share")
def waste_wrong(m: Made) -> None:
    m.plan["groups"][0]["waste"] -= 0.01


@found_by("plan-share")
def fill_wrong(m: Made) -> None:
    m.plan["sheets"][1]["fill"] += 0.01


@found_by("plan-length")
def cut_length_wrong(m: Made) -> None:
    m.plan["sheets"][0]["cut_length_mm"] *= 1.02


@found_by("moved")
def place_in_plan_wrong(m: Made) -> None:
    m.spot("lever")["x_mm"] += 0.1


@found_by("plan-outline")
def outline_in_plan_crossing(m: Made) -> None:
    outline = m.spot("wing")["outline_mm"]
    outline[0], outline[1] = outline[1], outline[0]


@found_by("plan-outline", "hole-wrong")
def hole_in_plan_outside_its_outline(m: Made) -> None:
    spot = m.spot("plate")
    spot["holes_mm"][1] = [[x + 60.0, y] for x, y in spot["holes_mm"][1]]


@found_by("plan-outline")
def part_list_says_another_number_of_holes(m: Made) -> None:
    m.plan["parts"][0]["holes"] = 3


@found_by("missing")
def copy_neither_placed_nor_left_out(m: Made) -> None:
    copy_left_out(m)
    m.plan["unplaced"] = []


@found_by("doubled", "left-out")
def copy_planned_twice(m: Made) -> None:
    m.plan["unplaced"] = [{"part": "puck", "copy": 2, "why": ""}]
    m.plan["groups"][0]["proven"] = False


@found_by("wrong-material", "plan-count")
def part_on_another_thickness(m: Made) -> None:
    next(one for one in m.plan["parts"] if one["part"] == "lever")["thickness_mm"] = 10.0


@found_by("blanks", "wrong-material", "plan-count")
def blanks_overlap(m: Made) -> None:
    m.plan["sheets"][0]["blank_origin_mm"] = [0.0, 0.0]
    m.plan["sheets"][1].update(
        stock=m.plan["sheets"][0]["stock"], blank_origin_mm=[399.0, 0.0], thickness_mm=6.0
    )


@pytest.mark.parametrize("name", sorted(PLANTED))
def test_planted_fault_is_found(name: str, tmp_path: Path) -> None:
    codes, action = PLANTED[name]
    m = made()
    action(m)
    verdict = check_folder(m.write(tmp_path))
    assert verdict.codes == codes, str(verdict)


@pytest.mark.parametrize(
    ("factor", "told"),
    [
        (25.4, "inches read as millimetres"),
        (1 / 25.4, "millimetres read as inches"),
        (10.0, "centimetres read as millimetres"),
        (0.1, "millimetres read as centimetres"),
        (96 / 25.4, "millimetres written as pixels"),
        (72 / 25.4, "millimetres written as points"),
    ],
)
def test_a_unit_taken_for_another_is_named(factor: float, told: str, tmp_path: Path) -> None:
    """An inch is 25.4 mm by definition; CSS has 96 pixels in it, PostScript 72 points."""
    m = made()
    m.jobs[ONE] = [one.scaled(factor) for one in m.jobs[ONE]]
    (fault,) = check_folder(m.write(tmp_path)).faults
    assert fault.code == "scale"
    assert told in fault.text


@pytest.mark.parametrize(("action", "copies"), [(name_missing, 6), (copy_cut_twice_in_one_file, 7)])
def test_copies_are_counted_once_and_only_by_their_names(action: Action, copies: int, tmp_path: Path) -> None:
    m = made()
    action(m)
    assert check_folder(m.write(tmp_path)).copies == copies


def test_a_copy_on_two_sheets_is_told_where_it_should_not_be(tmp_path: Path) -> None:
    m = made()
    copy_cut_on_both_sheets(m)
    (fault,) = check_folder(m.write(tmp_path)).faults
    assert fault.file == TWO
    assert f"{ONE}, {TWO}" in fault.text


@pytest.mark.parametrize(
    ("ring", "told"),
    [
        (block(0, 0, 400, 251)(0), "drawn 400.00 x 251.00 mm and planned 400.00 x 250.00 mm"),
        (block(0.3, -0.4, 400, 250)(0), "0.50 mm from its planned place (+0.30, -0.40)"),
        (
            corners((0, 0), (400, 0), (400, 250), (50, 250), (0, 200))(0),
            "planned size, 400.00 x 250.00 mm, but",
        ),
    ],
)
def test_what_is_wrong_with_a_blanks_edge_is_told(ring: list[Row], told: str, tmp_path: Path) -> None:
    m = made()
    m.change(ONE, 0, rows=ring)
    (fault,) = check_folder(m.write(tmp_path)).faults
    assert fault.code == "sheet-edge"
    assert told in fault.text


def sized(m: Made, factor: float) -> None:
    """Wing 1 as if drawn `factor` times as large, about its own lower left corner."""
    points = [(factor * x, factor * y) for x, y in WING]
    m.change(ONE, m.find(ONE, OUT, "wing"), rows=spot_of("wing").put(corners(*points)(KERF / 2)))


@pytest.mark.parametrize("off", [0.02, -0.02])
def test_small_errors_of_size_and_place_are_let_pass(off: float, tmp_path: Path) -> None:
    m = made()
    sized(m, 1.0 + off / 90.0)
    m.change(ONE, m.find(ONE, OUT, "puck", 2), rows=spot_of("puck", 2).put(disc(15, 15, 15 + off)(KERF / 2)))
    m.every(ONE, "plate", 1, lambda one: one.shifted(off, off))
    verdict = check_folder(m.write(tmp_path))
    assert verdict.ok, str(verdict)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("moves")


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([spot for spot in SPOTS[ONE] if spot.part != "plate"]),
    st.floats(0.09, 1.5),
    st.floats(0.0, 2.0 * math.pi),
)
def test_any_move_beyond_the_tolerance_is_found(folder: Path, spot: Spot, far: float, way: float) -> None:
    m = made()
    m.every(ONE, spot.part, spot.copy, lambda one: one.shifted(far * math.cos(way), far * math.sin(way)))
    faults = check_folder(m.write(folder)).faults
    assert [(fault.code, fault.part, fault.copy) for fault in faults] == [("moved", spot.part, spot.copy)]


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(["lever", "wing"]), st.floats(0.3, 359.7), st.booleans())
def test_any_wrong_turn_is_measured(folder: Path, part: str, degrees: float, mirrored: bool) -> None:
    m = made()
    outline = SPECS[part].outline(KERF / 2)
    spot = Spot(part, 1, 300.0, 150.0, spot_of(part).turn + degrees, mirrored and part == "wing")
    m.change(ONE, m.find(ONE, OUT, part), rows=spot.put(outline))
    told = [
        fault
        for fault in check_folder(m.write(folder)).faults
        if fault.code in ("turned", "mirrored", "moved")
    ]
    if spot.mirrored:
        assert [fault.code for fault in told] == ["mirrored"]
    elif part == "lever" and abs(degrees - 180.0) < 0.3:
        assert len(told) == 1  # a lever turned by half a turn is itself
    else:
        assert [fault.code for fault in told] == ["turned"]
        measured = float(told[0].text.split("turned by ")[1].split()[0])
        period = 180.0 if part == "lever" else 360.0
        assert abs((measured - degrees + period / 2) % period - period / 2) < 0.02
