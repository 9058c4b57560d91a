"""Part-way: what is cut stays, what changed is told, and the rest is planned anew."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest

from nestkit.booking import book_plan
from nestkit.build.model import Build, Cutter, Part, Sheet
from nestkit.checking import check_folder
from nestkit.checking.plan_entries import PlanFile
from nestkit.checking.plan_file import read_plan
from nestkit.errors import InputError
from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.keeping import Kept, keep
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from nestkit.stock.pieces import Piece
from nestkit.stock.shop import Shop
from nestkit.stock.shop_sheets import with_pieces
from tests.zoo import L_SHAPE, disc, rounded

FOLD = Line(LineKind.FOLD, Path.polyline([(20, 45), (70, 45)], False), math.pi / 2)
CLAW = Part("claw", Shape(Outline(L_SHAPE)), "eva", 6.0, copies=14, mirrored_pairs=True)
PLATE = Part("plate", Shape(Outline(rounded(90, 90, 15)), (FOLD,)), "eva", 6.0, copies=10)
EYE = Part("eye", Shape(disc(30)).at_origin(), "eva", 10.0, copies=3)


def build_of(*parts: Part, **changes: object) -> Build:
    build = Build(
        "Crab", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, Cutter(bed=(400, 300), kerf=0.2),
        (
            Sheet("eva 6 mm", "eva", 6.0, (400, 300), 4.0, in_shop=1),
            Sheet("eva 10 mm", "eva", 10.0, (400, 300), 6.0),
        ),
        (), parts,
    )  # fmt: skip
    return replace(build, **changes)  # type: ignore[arg-type]


def write(build: Build, folder: FilePath, kept: Kept | None = None) -> PlanFile:
    """The plan written, judged and read back."""
    planned = make_plan(build, Effort(rounds=3), kept=() if kept is None else kept.sheets)
    assert planned.plan.unplaced == ()
    write_plan(build, planned.plan, planned.jobs, folder)
    assert list(map(str, check_folder(folder).faults)) == []
    return read_plan(folder)


def copies_on(plan: PlanFile, numbers: set[int]) -> set[tuple[str, int]]:
    return {copy.key for k, sheet in enumerate(plan.sheets, 1) if k in numbers for copy in sheet.placed}


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> FilePath:
    folder = tmp_path_factory.mktemp("first") / "out"
    assert len(write(build_of(CLAW, PLATE, EYE), folder).sheets) >= 4
    return folder


def test_kept_sheets_stay_where_they_were_and_the_rest_is_planned(
    first: FilePath, tmp_path: FilePath
) -> None:
    before = read_plan(first)
    build = build_of(replace(CLAW, copies=18), PLATE, EYE)
    kept = keep(build, first, [1, 2])
    assert kept.build.findings == ()
    after = write(kept.build, tmp_path / "out", kept)
    for old, new in zip(before.sheets[:2], after.sheets[:2], strict=True):
        assert (new.stock, new.stock_number, new.bought) == (old.stock, old.stock_number, old.bought)
        assert new.job.endswith("-done.dxf")
        for one, other in zip(old.placed, new.placed, strict=True):
            assert one.key == other.key
            assert np.allclose(one.outline.mean(axis=0), other.outline.mean(axis=0), atol=1e-3)
    assert all(not sheet.kept and "-done" not in sheet.job for sheet in after.sheets[2:])
    everything = copies_on(after, set(range(1, len(after.sheets) + 1)))
    assert everything == {(p.name, k) for p in kept.build.parts for k in range(1, p.copies + 1)}
    stock = [(sheet.stock, sheet.stock_number) for sheet in after.sheets]
    assert len(stock) == len(set(stock))


def test_only_new_sheets_are_bought_and_the_shops_one_is_not_used_twice(
    first: FilePath, tmp_path: FilePath
) -> None:
    before = read_plan(first)
    in_shop = [k for k, sheet in enumerate(before.sheets, 1) if not sheet.bought]
    assert len(in_shop) == 1
    build = build_of(CLAW, PLATE, EYE)
    kept = keep(build, first, in_shop)
    after = write(kept.build, tmp_path / "out", kept)
    group = next(group for group in after.groups if group.thickness == 6.0)
    assert group.from_shop == ()
    assert group.to_buy == (("eva 6 mm", group.sheets_used - 1),)
    assert group.sheets_at_least <= group.sheets_used


def test_when_all_is_cut_nothing_is_planned(first: FilePath, tmp_path: FilePath) -> None:
    kept = keep(build_of(CLAW, PLATE, EYE), first)
    after = write(kept.build, tmp_path / "out", kept)
    assert all(sheet.kept for sheet in after.sheets)
    assert [(group.to_buy, group.from_shop, group.proven) for group in after.groups] == [((), (), True)] * 2
    assert sum(group.parts for group in after.groups) == 27


def test_what_is_gone_changed_or_too_many_is_told_and_the_rest_is_planned(
    first: FilePath, tmp_path: FilePath
) -> None:
    larger = replace(PLATE, shape=Shape(Outline(rounded(92, 90, 15)), (FOLD,)))
    kept = keep(build_of(replace(CLAW, copies=2), larger), first)
    told = {finding.code: str(finding) for finding in kept.build.findings}
    assert set(told) == {"kept-gone", "kept-changed", "kept-surplus"}
    assert "cut already: eye 1, 2, 3, which the build no longer has" in told["kept-gone"]
    assert (
        "plate 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, as it was before it changed. It is planned anew"
        in (told["kept-changed"])
    )
    assert "claw 3, 4" in told["kept-surplus"]
    after = write(kept.build, tmp_path / "out", kept)
    new = {k for k, sheet in enumerate(after.sheets, 1) if not sheet.kept}
    assert copies_on(after, new) == {("plate", k) for k in range(1, 11)}
    assert "eye 1, cut already" in after.parts


@pytest.mark.parametrize(
    ("changed", "same"),
    [
        (replace(PLATE, shape=Shape(Outline(rounded(90, 90, 15)))), False),
        (replace(PLATE, shape=Shape(PLATE.shape.outline, (replace(FOLD, angle=1.0),))), False),
        (
            replace(
                PLATE,
                shape=Shape(
                    PLATE.shape.outline,
                    (replace(FOLD, path=Path.polyline([(20, 50), (70, 50)], False)),),
                ),
            ),
            False,
        ),
        (replace(PLATE, thickness=10.0), False),
        (replace(PLATE, mirrored_pairs=True, copies=10), None),
        (replace(PLATE, assembly="shell", spares=2), True),
    ],
)
def test_a_part_is_the_same_only_if_it_would_be_cut_the_same(
    changed: Part, same: bool | None, first: FilePath
) -> None:
    kept = keep(build_of(CLAW, changed, EYE), first)
    told = [finding for finding in kept.build.findings if "plate" in finding.text]
    if same is None:
        # Those that were not mirrored and need not be count.
        assert "plate 2, 4, 6, 8, 10," in told[0].text
    else:
        assert (told == []) is same


def test_a_tighter_gap_and_another_cutter_leave_what_is_cut_alone(
    first: FilePath, tmp_path: FilePath
) -> None:
    build = build_of(CLAW, PLATE, EYE, gap=8.0, margin=12.0, cutter=Cutter("knife", bed=(390, 290)))
    kept = keep(build, first, [1])
    write(kept.build, tmp_path / "out", kept)


def test_what_is_kept_is_not_booked_twice(tmp_path: FilePath) -> None:
    with Shop(tmp_path / "shop.sqlite") as shop:
        shop.add([Piece("eva", 6.0, Outline(rounded(390, 290, 40)))], "added")
        build = build_of(CLAW, PLATE)
        whole = with_pieces(build, shop.pieces(), shop.id)
        plan = write(whole, tmp_path / "out")
        on_piece = next(k for k, sheet in enumerate(plan.sheets, 1) if sheet.piece)
        book_plan(shop, tmp_path / "out", [on_piece])
        kept = keep(with_pieces(build, shop.pieces(), shop.id), tmp_path / "out", [on_piece])
        after = write(kept.build, tmp_path / "more", kept)
        assert after.sheets[0].piece == 1
        used = book_plan(shop, tmp_path / "more")
        assert [numbers for numbers, _ in used.earlier] == [(1,)]
        assert 1 not in used.booking.went
        assert shop.faults() == []
        # Kept once more, it is still the same sheet.
        again = keep(build, tmp_path / "more", [1])
        assert again.sheets[0].kept == kept.sheets[0].kept


def test_blanks_of_one_sheet_are_kept_together(tmp_path: FilePath) -> None:
    build = build_of(replace(CLAW, copies=8), cutter=Cutter(bed=(200, 300), kerf=0.2))
    build = replace(build, sheets=(replace(build.sheets[0], buy=False),))
    plan = write(build, tmp_path / "out")
    assert len({sheet.blank_origin for sheet in plan.sheets}) > 1
    kept = keep(build, tmp_path / "out", [1])
    assert len(kept.sheets) == len(plan.sheets)
    write(kept.build, tmp_path / "more", kept)


def test_mistakes_are_told(first: FilePath, tmp_path: FilePath) -> None:
    build = build_of(CLAW)
    with pytest.raises(InputError, match="the plan has no sheet 99"):
        keep(build, first, [1, 99])
    with pytest.raises(InputError, match="there is no such folder"):
        keep(build, tmp_path / "nowhere")


def test_without_a_kept_sheet_plans_are_as_before(tmp_path: FilePath) -> None:
    build = build_of(CLAW, PLATE, EYE)
    one = make_plan(build, Effort(rounds=2))
    other = make_plan(build, Effort(rounds=2), kept=())
    assert [s.stock_number for s in one.plan.sheets] == [s.stock_number for s in other.plan.sheets]
    assert one.plan.groups == other.plan.groups
