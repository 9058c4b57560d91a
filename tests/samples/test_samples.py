"""The sample builds load without unexpected findings, hold what they promise, and their parts fit."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest
from shapely import LineString, Polygon
from shapely.affinity import rotate

from nestkit.build import Build, Part, load_build
from nestkit.checking import check_folder
from nestkit.cutting.etching import fold_findings, fold_problems
from nestkit.cutting.kerf import cut_paths
from nestkit.geometry import LineKind
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from nestkit.stock.drawn import drawn_edge
from nestkit.stock.pieces import Piece
from nestkit.stock.shop_sheets import with_pieces

SAMPLES = Path(__file__).parents[2] / "samples"
NAMES = sorted(file.parent.name for file in SAMPLES.glob("*/build.toml"))


@cache
def sample(name: str) -> Build:
    return load_build(SAMPLES / name / "build.toml")


def part(build: str, name: str) -> Part:
    return next(part for part in sample(build).parts if part.name == name)


def polygon(build: str, name: str) -> Polygon:
    return part(build, name).shape.outline.polygon()


def box_at_turns(part: Part) -> list[tuple[float, float]]:
    """Width and height of the bounding box at each allowed turn; any turn is tried by whole degrees."""
    hull = part.shape.outline.polygon().convex_hull
    angles = part.turns.angles or [math.radians(degrees) for degrees in range(360)]
    boxes = (rotate(hull, angle, use_radians=True).bounds for angle in angles)
    return [(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes]


def test_both_are_there() -> None:
    assert {"bell", "halberd"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
class TestEverySample:
    def test_loads_with_no_finding(self, name: str) -> None:
        build = sample(name)
        findings = [*build.findings, *(finding for part in build.parts for finding in part.findings)]
        assert findings == []
        assert fold_problems(build) == ()
        assert fold_findings(build) == {}

    def test_outlines_are_valid_and_hold_their_lines(self, name: str) -> None:
        for part in sample(name).parts:
            foam = part.shape.outline.polygon()
            assert foam.is_valid, part.name
            rim = foam.buffer(0.1)
            for line in part.shape.lines:
                points = line.path.flatten()
                assert rim.covers(LineString(points)), part.name

    def test_no_piece_of_an_outline_is_a_splinter(self, name: str) -> None:
        for part in sample(name).parts:
            for ring in part.shape.outline.rings():
                pieces = ring.pieces()
                steps = [math.hypot(x1 - x0, y1 - y0) for x0, y0, x1, y1, _ in pieces]
                assert min(steps) > 0.01, part.name

    def test_every_part_fits_on_a_sheet_and_on_the_bed(self, name: str) -> None:
        build = sample(name)
        bed = build.cutter.bed
        assert bed is not None
        rim = 2.0 * build.margin + build.cutter.kerf
        for part in build.parts:
            rooms = [
                (min(sheet.size[0], bed[0]) - rim, min(sheet.size[1], bed[1]) - rim)
                for sheet in build.sheets
                if (sheet.material, sheet.thickness) == (part.material, part.thickness)
            ]
            assert any(w <= room[0] and h <= room[1] for w, h in box_at_turns(part) for room in rooms), (
                part.name
            )

    def test_what_is_cut_has_the_area_of_the_outline_moved_by_half_the_kerf(self, name: str) -> None:
        """To a ten-thousandth of each ring; shapely moves what was drawn, corners in steps of 1 degree."""
        for part in sample(name).parts:
            kerf = sample(name).cutter_for(part.material, part.thickness).kerf
            foam = part.shape.outline.polygon(0.00002)
            cuts = cut_paths(part.shape.outline, kerf)
            edge = Polygon(foam.exterior).buffer(kerf / 2.0, quad_segs=90)
            holes = sorted(Polygon(ring).buffer(-kerf / 2.0, quad_segs=90).area for ring in foam.interiors)
            assert cuts.outside.signed_area == pytest.approx(edge.area, rel=1e-4), part.name
            assert sorted(-hole.signed_area for hole in cuts.inside) == pytest.approx(holes, rel=1e-4)

    def test_every_part_belongs_to_an_assembly_and_every_assembly_has_parts(self, name: str) -> None:
        build = sample(name)
        assert {part.assembly for part in build.parts} == {assembly.name for assembly in build.assemblies}


class TestHalberd:
    def test_it_is_a_build_of_some_size(self) -> None:
        parts = sample("halberd").parts
        assert len(parts) >= 15
        assert sum(part.copies for part in parts) >= 40
        assert {part.thickness for part in parts} == {4.0, 6.0, 10.0}

    def test_it_shows_what_a_build_may_hold(self) -> None:
        parts = sample("halberd").parts
        kinds = {line.kind for part in parts for line in part.shape.lines}
        assert kinds == {LineKind.MARK, LineKind.FOLD, LineKind.BEVEL}
        assert any(part.mirrored_pairs for part in parts)
        assert any(part.spares for part in parts)
        assert any(part.source.startswith("fittings.dxf") for part in parts)
        assert max(max(part.shape.outline.size) for part in parts) > 900.0

    def test_some_thickness_takes_more_than_one_sheet_by_area_alone(self) -> None:
        foam = sum(p.shape.outline.area * p.copies for p in sample("halberd").parts if p.thickness == 6.0)
        assert 1.2 < foam / (1000.0 * 500.0) < 2.5

    def test_other_parts_go_into_the_window_of_the_wheels_rim(self) -> None:
        window = Polygon(polygon("halberd", "wheel-rim").interiors[0])
        radius = math.sqrt(window.area / math.pi)
        assert radius > 100.0
        smaller = [
            p
            for p in sample("halberd").parts
            if p.thickness == 6.0 and math.hypot(*p.shape.outline.size) < radius
        ]
        assert len(smaller) >= 2

    def test_arcs_stay_arcs(self) -> None:
        for name in ("wheel", "wheel-rim", "collar", "collar-cap", "knee", "square-collar", "limpet"):
            assert any(ring.has_arcs for ring in part("halberd", name).shape.outline.rings()), name

    @pytest.mark.parametrize("name", ["wheel", "spacer-ring", "butt-disc"])
    def test_the_dowel_goes_through(self, name: str) -> None:
        dowel = next(item for item in sample("halberd").hardware if item.name == "dowel")
        widths = [ring.bounds[2] - ring.bounds[0] for ring in part("halberd", name).shape.outline.holes]
        assert any(dowel.diameter < width < dowel.diameter + 1.0 for width in widths)

    def test_the_collars_go_round_the_langets(self) -> None:
        opening = part("halberd", "collar").shape.outline.holes[0]
        x0, y0, x1, y1 = opening.bounds
        # The section: 25 mm dowel between 26 mm of head, then 6 and 4 mm of foam on two sides; 40 mm wide.
        assert 40.0 < x1 - x0 < 42.0
        assert 25.0 + 2 * (6.0 + 4.0) < y1 - y0 < 48.0

    def test_the_casing_closes_around_the_dowel(self) -> None:
        dowel = next(item for item in sample("halberd").hardware if item.name == "dowel")
        inner, outer = (
            min(part("halberd", f"casing-{which}").shape.outline.size) for which in ("inner", "outer")
        )
        # Each of four strips overlaps the next: width = opening + one thickness.
        assert inner == pytest.approx(dowel.diameter + 6.0, abs=0.01)
        assert outer == pytest.approx(dowel.diameter + 2 * 6.0 + 6.0, abs=0.01)

    @pytest.mark.parametrize(
        ("half", "core"), [("blade", "blade-core"), ("fluke", "fluke-core"), ("spike", "spike-core")]
    )
    def test_halves_are_smaller_than_their_core(self, half: str, core: str) -> None:
        assert polygon("halberd", half).area < polygon("halberd", core).area
        sizes = zip(
            part("halberd", half).shape.outline.size, part("halberd", core).shape.outline.size, strict=True
        )
        assert all(a <= b + 0.01 for a, b in sizes)


class TestBell:
    def test_it_is_in_inches(self) -> None:
        build = sample("bell")
        assert build.unit == "in"
        assert {round(part.thickness / 25.4, 3) for part in build.parts} == {0.236, 0.394}

    def test_its_core_has_the_finished_length_asked_for(self) -> None:
        assert max(part("bell", "bell-core").shape.outline.size) == pytest.approx(15.0 * 25.4, abs=0.01)
        assert sample("bell").scale == pytest.approx(1.25, abs=1e-4)

    def test_its_bolt_holes_take_the_bolt(self) -> None:
        (bolt,) = sample("bell").hardware
        for name in ("bell-side", "clapper", "yoke", "yoke-bracket", "mounting-ring"):
            holes = part("bell", name).shape.outline.holes
            assert all(
                hole.bounds[2] - hole.bounds[0] == pytest.approx(bolt.diameter, abs=0.01) for hole in holes
            )
            assert holes

    def test_the_bed_is_smaller_than_the_sheets(self) -> None:
        build = sample("bell")
        assert build.cutter.bed is not None
        assert all(min(build.cutter.bed) < min(sheet.size) for sheet in build.sheets)


class TestCrab:
    def test_its_offcut_is_a_sheet_with_a_round_bite_and_a_hole(self) -> None:
        outline, findings = drawn_edge(f"{SAMPLES / 'crab' / 'rest.svg'}#rest")
        assert findings == ()
        # A rectangle less a quarter of a disc and a disc.
        assert outline.area == pytest.approx(620 * 420 - math.pi * (200**2 / 4 + 46**2), rel=1e-6)

    def test_it_is_planned_on_the_offcut_first(self, tmp_path: Path) -> None:
        build = load_build(SAMPLES / "crab" / "build.toml")
        outline, _ = drawn_edge(f"{SAMPLES / 'crab' / 'rest.svg'}#rest")
        piece = Piece("eva", 6.0, outline, number=1, place="workbench").at_origin()
        whole = with_pieces(build, [piece], "the shop's id")
        planned = make_plan(whole, Effort(rounds=1))
        assert planned.plan.unplaced == ()
        on_offcut = [sheet for sheet in planned.plan.sheets if sheet.piece == 1]
        assert len(on_offcut) == 1
        assert on_offcut[0].placed
        write_plan(whole, planned.plan, planned.jobs, tmp_path / "out")
        assert check_folder(tmp_path / "out").ok

    def test_it_shows_domes_wraps_and_drawn_plates(self) -> None:
        kinds = {part.pattern.kind if part.pattern else "drawn" for part in sample("crab").parts}
        assert kinds == {"dome", "wrap", "cone", "drawn"}


def test_the_overlap_engine_takes_the_halberd_at_another_size() -> None:
    """At 1.05 rounding leaves a sliver between two pieces of a part's cover that shapely can't subtract."""
    from nestkit.nesting.overlap.board import Board
    from nestkit.nesting.request import batches_of
    from nestkit.nesting.supply import supply
    from nestkit.planning import requests

    build = load_build(SAMPLES / "halberd" / "build.toml", 1.05)
    for request in requests(build):
        for batch in batches_of(request)[0]:
            row = supply(request.sheets, batch.bed, 1, request.sheets[0])
            board = Board(batch.items, row.bins, request.spacing)
            assert len(board.class_of) == len(batch.items)
