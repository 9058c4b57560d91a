"""Plans booked into the shop: once, whole or not at all, and what is left comes back in."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import time
from dataclasses import replace
from pathlib import Path as FilePath

import pytest
from shapely.geometry import Polygon

from nestkit.booking import add_leftovers, book_plan, uses_of
from nestkit.build.model import Build, Cutter, Part, Sheet
from nestkit.checking.plan_entries import PlanFile
from nestkit.checking.plan_file import read_plan
from nestkit.errors import InputError
from nestkit.geometry import Outline, Shape
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from nestkit.stock.pieces import Piece
from nestkit.stock.shop import Shop
from nestkit.stock.shop_sheets import with_pieces
from nestkit.words import read_numbers
from tests import bookers
from tests.zoo import frame, rectangle, rounded


def build_of(copies: int = 4, buy: bool = True) -> Build:
    part = Part("claw", Shape(rectangle(180, 120)), "eva", 6.0, copies=copies)
    sheet = Sheet("eva 6 mm 600 x 400", "eva", 6.0, (600, 400), 4.0, buy=buy)
    cutter = Cutter(bed=(600, 400), kerf=0.2)
    return Build("Crab", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, cutter, (sheet,), (), (part,))


def filled(shop: Shop, *edges: Outline) -> tuple[int, ...]:
    return shop.add([Piece("eva", 6.0, edge) for edge in edges], "added").came


def planned(build: Build, shop: Shop, folder: FilePath) -> FilePath:
    whole = with_pieces(build, shop.pieces(), shop.id)
    found = make_plan(whole, Effort(rounds=4))
    assert found.plan.unplaced == ()
    write_plan(whole, found.plan, found.jobs, folder)
    return folder


@pytest.fixture
def shop(tmp_path: FilePath):
    with Shop(tmp_path / "shop.sqlite") as opened:
        yield opened


def numbers(shop: Shop) -> list[int]:
    return [piece.number for piece in shop.pieces()]


def test_what_is_cut_goes_out_and_what_is_left_comes_in(shop: Shop, tmp_path: FilePath) -> None:
    filled(shop, Outline(rounded(400, 270, 60)), rectangle(500, 300))
    out = planned(build_of(2), shop, tmp_path / "out")
    plan = read_plan(out)
    used = {sheet.piece for sheet in plan.sheets}
    booked = book_plan(shop, out, place="shelf")
    assert (booked.booking.kind, set(booked.booking.went)) == ("use", used)
    assert booked.sheets == tuple(range(1, len(plan.sheets) + 1))
    left = [piece for piece in shop.pieces() if piece.number in booked.booking.came]
    assert len(left) == len(plan.leftovers) > 0
    assert {piece.place for piece in left} == {"shelf"}
    kept = sum(piece.outline.area for piece in left)
    assert kept == pytest.approx(plan.groups[0].leftover * sheet_area(plan), rel=2e-3)
    assert shop.faults() == []
    before = numbers(shop)
    shop.undo()
    assert set(numbers(shop)) == {1, 2}
    # The same plan may be booked anew once that is taken back, and no number comes twice.
    book_plan(shop, out)
    assert len(numbers(shop)) == len(before)
    assert not set(numbers(shop)) & set(booked.booking.came)


def sheet_area(plan: PlanFile) -> float:
    return sum(Polygon(sheet.outline, sheet.holes).area for sheet in plan.sheets)


def test_the_same_plan_is_not_booked_twice(shop: Shop, tmp_path: FilePath) -> None:
    out = planned(build_of(2), shop, tmp_path / "out")
    book_plan(shop, out)
    before = numbers(shop)
    # A copy of the folder, its JSON laid out otherwise, is the same plan.
    shutil.copytree(out, tmp_path / "copy")
    data = json.loads((tmp_path / "copy" / "plan.json").read_bytes())
    (tmp_path / "copy" / "plan.json").write_text(json.dumps(data, sort_keys=True))
    for folder in (out, tmp_path / "copy"):
        with pytest.raises(InputError, match=r"booked already: cut 'Crab', sheet 1, 20.*--again"):
            book_plan(shop, folder)
    assert numbers(shop) == before
    more = book_plan(shop, out, again=True).booking.came
    assert numbers(shop) == [*before, *more]
    assert more


def test_sheets_can_be_booked_one_after_another(shop: Shop, tmp_path: FilePath) -> None:
    out = planned(build_of(12), shop, tmp_path / "out")
    count = len(read_plan(out).sheets)
    assert count >= 2
    assert book_plan(shop, out, [2]).sheets == (2,)
    rest = book_plan(shop, out)
    assert rest.sheets == tuple(n for n in range(1, count + 1) if n != 2)
    assert [numbers_ for numbers_, _ in rest.earlier] == [(2,)]
    with pytest.raises(InputError, match=f"no sheet {count + 1}. It has {count} sheets"):
        book_plan(shop, out, [count + 1])


def test_a_plan_whose_piece_is_gone_is_refused_whole(shop: Shop, tmp_path: FilePath) -> None:
    filled(shop, rectangle(200, 270), rectangle(210, 260))
    out = planned(build_of(4, buy=False), shop, tmp_path / "out")
    assert {sheet.piece for sheet in read_plan(out).sheets} == {1, 2}
    shop.drop([2], "torn")
    with pytest.raises(
        InputError, match=r"offcut 2: is gone: torn, .*Plan again with nestkit plan --offcuts"
    ):
        book_plan(shop, out)
    assert numbers(shop) == [1]
    last = shop.last_booking()
    assert last is not None
    assert last.kind == "drop"


def test_a_plan_of_another_shop_is_refused(shop: Shop, tmp_path: FilePath) -> None:
    filled(shop, rectangle(400, 300))
    out = planned(build_of(2), shop, tmp_path / "out")
    with Shop(tmp_path / "other.sqlite") as other:
        filled(other, rectangle(400, 300))
        with pytest.raises(InputError, match="pieces of another shop"):
            book_plan(other, out)
        assert numbers(other) == [1]


@pytest.mark.parametrize("version", [0, 2])
def test_a_plan_of_another_version_is_refused_by_name_and_nothing_is_booked(
    version: int, shop: Shop, tmp_path: FilePath
) -> None:
    filled(shop, rectangle(500, 300))
    out = planned(build_of(), shop, tmp_path / "out")
    file = out / "plan.json"
    file.write_text(json.dumps({**json.loads(file.read_text()), "version": version}))
    before = numbers(shop)
    for book in (lambda: book_plan(shop, out), lambda: add_leftovers(shop, out, 1)):
        with pytest.raises(
            InputError, match=rf"plan\.json.* has version {version}, and this nestkit reads version 1"
        ):
            book()
    assert numbers(shop) == before


def test_leftovers_that_are_in_already_do_not_come_in_twice(shop: Shop, tmp_path: FilePath) -> None:
    filled(shop, rectangle(500, 350))
    out = planned(build_of(2), shop, tmp_path / "out")
    added = add_leftovers(shop, out, 1, place="bench")
    assert (added.booking.kind, added.booking.went) == ("add", ())
    with pytest.raises(InputError, match="booked already: leftovers of 'Crab', sheet 1"):
        add_leftovers(shop, out, 1)
    used = book_plan(shop, out)
    assert (used.booking.went, used.booking.came) == ((1,), ())
    assert numbers(shop) == list(added.booking.came)
    with pytest.raises(InputError, match="booked already: cut 'Crab'"):
        book_plan(shop, out)


def test_blanks_of_one_piece_go_together(shop: Shop, tmp_path: FilePath) -> None:
    filled(shop, frame(560, 180))
    build = replace(build_of(8, buy=False), cutter=Cutter(bed=(300, 300), kerf=0.2))
    build = replace(build, parts=(replace(build.parts[0], shape=Shape(rectangle(150, 120))),))
    out = planned(build, shop, tmp_path / "out")
    (use,) = uses_of(read_plan(out))
    assert len(use.sheets) > 1
    assert book_plan(shop, out, [use.sheets[0]]).sheets == use.sheets


def test_a_sheet_is_known_whatever_its_number(tmp_path: FilePath, shop: Shop) -> None:
    out = planned(build_of(12), shop, tmp_path / "out")
    plan = read_plan(out)
    there = {use.digest for use in uses_of(plan)}
    assert len(there) == len(plan.sheets)
    turned = replace(plan, sheets=plan.sheets[::-1], leftovers=())
    assert {use.digest for use in uses_of(turned)} == there
    assert not there & {use.digest for use in uses_of(replace(plan, build="Bell"))}
    moved = replace(plan.sheets[0], placed=plan.sheets[0].placed[1:])
    assert uses_of(replace(plan, sheets=(moved,)))[0].digest not in there


def test_nothing_worth_keeping_is_told(shop: Shop, tmp_path: FilePath) -> None:
    filled(shop, rectangle(195, 135))
    out = planned(build_of(1), shop, tmp_path / "out")
    with pytest.raises(InputError, match="nothing of it is worth keeping"):
        add_leftovers(shop, out, 1)
    assert book_plan(shop, out).booking.came == ()


@pytest.mark.parametrize(
    ("text", "numbers_"), [("2", (2,)), ("1,3", (1, 3)), ("3,1-2", (1, 2, 3)), (" 4 , 4", (4,))]
)
def test_lists_of_numbers(text: str, numbers_: tuple[int, ...]) -> None:
    assert read_numbers(text) == numbers_


@pytest.mark.parametrize("text", ["", "0", "a", "1-", "3-1", "-2", "1;2", "1,,2", "9999999", "²"])
def test_what_is_no_list_of_numbers(text: str) -> None:
    with pytest.raises(ValueError, match="no list of numbers"):
        read_numbers(text)


# --- several programs at once, and none that ends well --------------------------------------------


def test_of_two_plans_that_use_the_same_offcut_one_is_booked_and_one_is_told(
    shop: Shop, tmp_path: FilePath
) -> None:
    filled(shop, rectangle(400, 300))
    one = planned(build_of(2), shop, tmp_path / "one")
    other = planned(replace(build_of(2), name="Bell"), shop, tmp_path / "other")
    programs = [bookers.started(bookers.book, shop.file, folder) for folder in (one, other)]
    for program in programs:
        program.let_go()
    (booked,), (told,) = sorted(program.said() for program in programs)
    assert booked == ("booked", 1)
    assert told[0] == "told"
    assert told[1].startswith("offcut 1: is gone: cut '")
    assert shop.faults() == []


def test_a_program_killed_while_it_books_leaves_each_booking_whole_or_undone(
    shop: Shop, tmp_path: FilePath
) -> None:
    chance = random.Random(2)
    edges = [rectangle(200 + k, 270) for k in range(6)]
    filled(shop, *edges)
    out = planned(build_of(12, buy=False), shop, tmp_path / "out")
    plan = read_plan(out)
    pieces = {sheet.piece for sheet in plan.sheets}
    assert len(pieces) >= 5
    outcomes = set()
    longest = 0.06
    for _ in range(30):
        program = bookers.started(bookers.book, shop.file, out)
        program.let_go()
        time.sleep(chance.random() * longest)
        program.kill()
        said = program.said()
        assert shop.faults() == []
        there = set(numbers(shop))
        cut = sqlite3.connect(shop.file).execute("SELECT count(*) FROM cut").fetchone()[0]
        if pieces & there:
            assert pieces <= there
            assert (cut, said) == (0, [])
        else:
            assert cut == len(plan.sheets)
            shop.undo()
        outcomes.add(cut)
        # Sooner after a booking, later after none: on any machine the kills gather about the booking.
        longest *= 0.7 if cut else 1.3
    assert 0 in outcomes
