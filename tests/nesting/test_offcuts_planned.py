"""Plans on offcuts of any outline: judged by the independent check and by shapely on the true edges."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path as FilePath

import pytest
import shapely
from hypothesis import strategies as st

from nestkit.build.model import Build, Cutter, Part, Sheet
from nestkit.checking import check_folder
from nestkit.geometry import Outline, Shape
from nestkit.geometry.affine import scaling, translation
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from nestkit.stock.leftovers import Usable, leftovers
from nestkit.stock.pieces import Piece
from nestkit.stock.shop_sheets import with_pieces
from tests.examples import few_or_many
from tests.strategies import outlines
from tests.zoo import L_SHAPE, disc, frame, rectangle, rounded


def build_of(*parts: Part, bed: tuple[float, float] | None = (600.0, 400.0), **more: object) -> Build:
    settings_: dict[str, object] = {
        "name": "Crab",
        "file": FilePath("build.toml"),
        "unit": "mm",
        "scale": 1.0,
        "gap": 2.0,
        "margin": 5.0,
        "cutter": Cutter(bed=bed, kerf=0.2),
        "sheets": (Sheet("eva 6 mm 600 x 400", "eva", 6.0, (600, 400), 4.0),),
        "assemblies": (),
        "parts": parts,
    }
    return Build(**{**settings_, **more})  # type: ignore[arg-type]


def part(name: str, outline: Outline, copies: int = 1, **more: object) -> Part:
    return Part(name, Shape(outline).at_origin(), "eva", 6.0, copies=copies, **more)  # type: ignore[arg-type]


def offcuts(*edges: Outline) -> list[Piece]:
    return [Piece("eva", 6.0, edge, number=k).at_origin() for k, edge in enumerate(edges, start=1)]


def planned(build: Build, pieces: list[Piece], rounds: int = 6):
    whole = with_pieces(build, pieces, "the shop's id")
    return whole, make_plan(whole, Effort(rounds=rounds))


def test_parts_go_onto_an_offcut_before_a_sheet_is_bought():
    build, found = planned(
        build_of(part("scale", rectangle(60, 40), 6)), offcuts(Outline(rounded(320, 200, 60)))
    )
    (sheet,) = found.plan.sheets
    assert (sheet.stock, sheet.piece, sheet.bought, sheet.how) == ("offcut 1", 1, False, "laser")
    (group,) = found.plan.groups
    assert (group.cost, group.from_shop, group.to_buy) == (0, (("offcut 1", 1),), ())
    assert build.shop == "the shop's id"


def test_nothing_lies_in_an_offcuts_hole():
    _, found = planned(build_of(part("scale", rectangle(90, 90), 12)), offcuts(frame(400, 110)))
    sheet = next(sheet for sheet in found.plan.sheets if sheet.piece)
    room = frame(400, 110).polygon()
    assert len(sheet.placed) >= 4
    for placed in sheet.placed:
        shape = placed.shape.outline.polygon()
        assert room.covers(shape)
        assert shape.distance(room.boundary) >= 5.0 - 0.01


def test_the_smallest_piece_that_holds_it_is_used():
    pieces = offcuts(rectangle(500, 300), Outline(rounded(150, 110, 20)), rectangle(300, 300))
    _, found = planned(build_of(part("claw", rectangle(90, 70))), pieces)
    assert [sheet.piece for sheet in found.plan.sheets] == [2]


def test_a_whole_sheet_of_the_shop_stays_when_offcuts_hold_all():
    build = build_of(part("claw", rectangle(90, 70), 2))
    build = replace(build, sheets=(replace(build.sheets[0], in_shop=1),))
    _, found = planned(build, offcuts(rectangle(220, 110)))
    assert [sheet.piece for sheet in found.plan.sheets] == [1]


def test_an_offcut_larger_than_the_bed_is_cut_into_blanks():
    build = build_of(part("claw", rectangle(150, 120), 8), bed=(300.0, 300.0))
    _, found = planned(
        replace(build, sheets=(replace(build.sheets[0], buy=False),)), offcuts(frame(560, 180))
    )
    assert {sheet.piece for sheet in found.plan.sheets} == {1}
    assert all(max(sheet.outline.size) <= 300 for sheet in found.plan.sheets)
    assert len({sheet.blank_origin for sheet in found.plan.sheets}) == len(found.plan.sheets) > 1
    (group,) = found.plan.groups
    assert group.sheets_used == 1


def test_a_part_that_only_an_offcuts_box_would_hold_goes_elsewhere():
    # 200 x 200 fits the box of the L, not the L.
    pieces = offcuts(Outline(L_SHAPE).transformed(scaling(2.5)))
    _, found = planned(build_of(part("carapace", rectangle(220, 180))), pieces)
    assert [sheet.stock for sheet in found.plan.sheets] == ["eva 6 mm 600 x 400"]
    only = replace(build_of(part("carapace", rectangle(220, 180))), sheets=())
    only = replace(only, sheets=(Sheet("eva", "eva", 6.0, (600, 400), 4.0, in_shop=0, buy=False),))
    _, found = planned(only, pieces)
    assert [copy.part.name for copy in found.plan.unplaced] == ["carapace"]


def test_other_foams_are_left_alone():
    pieces = [*offcuts(rectangle(300, 300)), Piece("eva", 10.0, rectangle(300, 300), number=7)]
    build = with_pieces(build_of(part("claw", rectangle(90, 70))), pieces, "id")
    assert [sheet.piece for sheet in build.sheets] == [0, 1]
    assert with_pieces(build_of(), pieces[1:], "id").shop == ""


def test_a_sheet_of_the_same_name_is_told_apart():
    build = build_of(part("claw", rectangle(90, 70)))
    build = replace(build, sheets=(replace(build.sheets[0], name="offcut 1"),))
    assert [s.name for s in with_pieces(build, offcuts(rectangle(300, 300)), "id").sheets] == [
        "offcut 1", "offcut 1 of the shop",
    ]  # fmt: skip


EATEN = leftovers(rectangle(500, 300), [disc(100).transformed(translation(250, 150))], 0.2, Usable(40, 4000))[
    0
]
EDGES = st.sampled_from(
    [Outline(rounded(320, 220, 70)), frame(330, 120), disc(130), rectangle(250, 180), EATEN]
)


@st.composite
def builds(draw: st.DrawFn) -> tuple[Build, list[Piece]]:
    parts = [
        part(f"part {k}", draw(outlines()), draw(st.integers(1, 5)), by_hand=draw(st.integers(0, 7)) == 0)
        for k in range(draw(st.integers(1, 3)))
    ]
    bed = draw(st.sampled_from([None, (600.0, 400.0), (220.0, 220.0)]))
    gap, margin = draw(st.sampled_from([0.0, 3.0])), draw(st.sampled_from([0.0, 5.0]))
    kind = "laser" if bed else "hand"
    cutter = Cutter(kind=kind, bed=bed, kerf=draw(st.sampled_from([0.0, 0.3])))
    build = build_of(*parts, gap=gap, margin=margin, cutter=cutter)
    return build, offcuts(*draw(st.lists(EDGES, min_size=1, max_size=3)))


@few_or_many(8, 15, builds())
def test_every_plan_on_offcuts_passes_the_check(drawn):
    build, pieces = drawn
    whole, found = planned(build, pieces, rounds=2)
    with tempfile.TemporaryDirectory() as folder:
        out = FilePath(folder) / "out"
        write_plan(whole, found.plan, found.jobs, out)
        assert [str(fault) for fault in check_folder(out).faults if fault.code != "left-out"] == []
    edges = {piece.number: piece.outline.polygon(0.001) for piece in pieces}
    for sheet in found.plan.sheets:
        if (
            sheet.piece
            and sheet.blank_origin is None
            and sheet.outline.size == pytest.approx(pieces[sheet.piece - 1].outline.size)
        ):
            room = edges[sheet.piece].buffer(0.02)
            for placed in sheet.placed:
                assert shapely.difference(placed.shape.outline.polygon(0.001), room).area < 1e-3
    assert sum(len(s.placed) for s in found.plan.sheets) + len(found.plan.unplaced) == sum(
        each.copies for each in build.parts
    )
