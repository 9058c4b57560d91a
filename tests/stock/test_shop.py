"""The shop's file: what goes in comes out, bookings are whole, and it survives what happens to files."""

from __future__ import annotations

import json
import random
import sqlite3
import time
from pathlib import Path as FilePath

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from nestkit.errors import InputError, OutputError
from nestkit.geometry import Outline, Path
from nestkit.stock import shop_schema
from nestkit.stock.pieces import Piece, outline_from, outline_text
from nestkit.stock.shop import Shop
from nestkit.stock.shop_uses import Use
from tests import bookers
from tests.strategies import outlines
from tests.zoo import disc, frame, rectangle, rounded


def eva(outline: Outline | None = None, **more: object) -> Piece:
    return Piece("eva", 6.0, outline or rectangle(400, 300), **more)  # type: ignore[arg-type]


@pytest.fixture
def file(tmp_path: FilePath) -> FilePath:
    return tmp_path / "shop.sqlite"


def test_a_piece_comes_back_as_it_went_in(file: FilePath) -> None:
    pieces = [
        eva(whole=True, place="left shelf", note="a little dusty", photo="/p.jpg"),
        Piece("EVA", 10.0, Outline(rounded(200, 100, 30), (Path.circle(100, 50, 20),))),
    ]
    with Shop(file) as shop:
        assert shop.add(pieces, "added").came == (1, 2)
    with Shop(file) as shop:
        first, second = shop.pieces()
        assert shop.faults() == []
    assert (first.name, first.whole, first.place, first.note, first.photo) == (
        "sheet 1", True, "left shelf", "a little dusty", "/p.jpg",
    )  # fmt: skip
    assert (second.name, second.material, second.thickness) == ("offcut 2", "eva", 10.0)
    for given_, kept in zip(pieces, (first, second), strict=True):
        for one, other in zip(given_.outline.rings(), kept.outline.rings(), strict=True):
            assert np.allclose(one.vertices, other.vertices, rtol=0.0, atol=1e-12)


@given(outlines())
def test_outlines_are_kept_to_the_last_digit(outline: Outline) -> None:
    back = outline_from(outline_text(outline))
    assert len(back.holes) == len(outline.holes)
    for one, other in zip(outline.rings(), back.rings(), strict=True):
        assert np.array_equal(one.vertices, other.vertices)


@pytest.mark.parametrize("text", ["", "{}", "[]", "[[1]]", "[[[0,0,0]]]", "[[[0,0],[1,0],[1,1]]]", "[1, 2]"])
def test_a_spoilt_outline_is_told(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        outline_from(text)


def test_pieces_are_moved_to_the_origin(file: FilePath) -> None:
    with Shop(file) as shop:
        shop.add([eva(disc(100))], "added")
        assert shop.pieces()[0].outline.bounds == pytest.approx((0, 0, 200, 200))


def test_senseless_pieces_are_refused() -> None:
    with pytest.raises(ValueError, match="material"):
        Piece(" ", 6.0, rectangle(10, 10))
    with pytest.raises(ValueError, match="thickness"):
        Piece("eva", 0.0, rectangle(10, 10))
    bow = Outline(Path.polyline([(0, 0), (10, 10), (10, 0), (0, 11)], True))
    with pytest.raises(ValueError, match="cross"):
        Piece("eva", 6.0, bow)


def test_a_rectangle_is_told_from_a_frame() -> None:
    assert eva().is_rectangle
    assert not eva(frame(100, 20)).is_rectangle
    assert not eva(Outline(rounded(100, 50, 10))).is_rectangle


def test_what_is_dropped_is_gone_and_is_told_so(file: FilePath) -> None:
    with Shop(file) as shop:
        shop.add([eva(), eva()], "added")
        booking = shop.drop([2], "burnt")
        assert (booking.kind, booking.what, booking.went) == ("drop", "burnt", (2,))
        assert [piece.number for piece in shop.pieces()] == [1]
        with pytest.raises(InputError, match=r"offcut 2: is gone: burnt, 20\d\d-"):
            shop.drop([1, 2], "lost")
        with pytest.raises(InputError, match="piece 9: the shop has no piece of that number"):
            shop.drop([9], "lost")
        assert [piece.number for piece in shop.pieces()] == [1]


def test_bookings_are_taken_back_one_by_one_and_no_number_is_given_twice(file: FilePath) -> None:
    with Shop(file) as shop:
        shop.add([eva()], "added one")
        shop.add([eva(), eva()], "added two")
        shop.drop([1, 3], "lost")
        assert shop.undo().went == (1, 3)
        assert [piece.number for piece in shop.pieces()] == [1, 2, 3]
        assert shop.undo().came == (2, 3)
        assert shop.add([eva()], "added again").came == (4,)
        shop.undo()
        shop.undo()
        assert shop.pieces() == ()
        with pytest.raises(InputError, match="nothing was ever booked"):
            shop.undo()


def test_each_shop_has_an_id_of_its_own(tmp_path: FilePath) -> None:
    with Shop(tmp_path / "a") as one, Shop(tmp_path / "b") as other:
        assert one.id != other.id
    with Shop(tmp_path / "a") as again:
        assert again.id == one_id(tmp_path / "a")


def one_id(file: FilePath) -> str:
    return str(sqlite3.connect(file).execute("SELECT id FROM shop").fetchone()[0])


# --- files that are no shop -----------------------------------------------------------------------


def test_no_database_is_told(file: FilePath) -> None:
    file.write_bytes(b"a shopping list\n" * 500)
    with pytest.raises(InputError, match="this is no shop, or it is damaged"):
        Shop(file)
    assert file.read_bytes().startswith(b"a shopping list")


def test_another_programs_database_is_left_alone(file: FilePath) -> None:
    other = sqlite3.connect(file)
    other.execute("CREATE TABLE songs (name)")
    other.close()
    before = file.read_bytes()
    with pytest.raises(InputError, match="database of another program"):
        Shop(file)
    assert file.read_bytes() == before


def test_a_newer_version_is_refused_by_name(file: FilePath) -> None:
    with Shop(file) as shop:
        shop.add([eva()], "added")
    database = sqlite3.connect(file)
    database.execute("PRAGMA user_version = 99")
    database.close()
    with pytest.raises(
        InputError, match=r"a newer nestkit wrote this shop: its version is 99, .*nothing was changed"
    ):
        Shop(file)


def test_a_damaged_file_is_told(file: FilePath) -> None:
    with Shop(file) as shop:
        shop.add([eva(note="x" * 900) for _ in range(50)], "added")
    database = sqlite3.connect(file)
    database.execute("PRAGMA journal_mode = DELETE")
    database.close()
    spoilt = bytearray(file.read_bytes())
    for k in range(4096, len(spoilt), 7):
        spoilt[k] ^= 0x5A
    file.write_bytes(spoilt)
    with pytest.raises(InputError, match="damaged"):
        Shop(file)


def test_a_folder_in_its_place_is_told(tmp_path: FilePath) -> None:
    with pytest.raises(OutputError, match="can't be opened"):
        Shop(tmp_path)
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="its folder can't be made"):
        Shop(tmp_path / "file" / "shop.sqlite")


def test_an_empty_file_becomes_a_shop(file: FilePath) -> None:
    file.touch()
    with Shop(file) as shop:
        assert shop.pieces() == ()


def test_a_shop_of_version_1_is_brought_up_and_keeps_all_it_has(file: FilePath) -> None:
    database = sqlite3.connect(file, isolation_level=None)
    for statement in shop_schema.statements(shop_schema.STEPS[0]):
        database.execute(statement)
    database.execute(f"PRAGMA application_id = {shop_schema.APPLICATION_ID}")
    database.execute("PRAGMA user_version = 1")
    database.execute("INSERT INTO shop VALUES (1, 'as it was')")
    database.execute("INSERT INTO booking (at, kind, what) VALUES ('2026-11-01T09:00:00+00:00', 'add', 'a')")
    database.execute(
        "INSERT INTO piece (whole, material, thickness, outline, place, photo, note, came)"
        " VALUES (0, 'eva', 6.0, '[[[0,0,0],[90,0,0],[90,50,0],[0,50,0]]]', 'shelf', '', '', 1)"
    )
    database.close()
    with Shop(file) as shop:
        assert shop.id == "as it was"
        (piece,) = shop.pieces()
        assert (piece.number, piece.place, piece.outline.area) == (1, "shelf", 4500)
        assert shop.faults() == []
        use = Use((1,), "digest", 1, ())
        assert shop.use([use], "cut").booking.went == (1,)
    version = sqlite3.connect(file).execute("PRAGMA user_version").fetchone()
    assert version == (shop_schema.VERSION,)


# --- several programs at once, and none that ends well --------------------------------------------


def test_of_two_programs_that_book_the_same_offcut_one_wins_and_one_is_told(file: FilePath) -> None:
    with Shop(file) as shop:
        numbers = shop.add([eva() for _ in range(5)], "added").came
    for number in numbers:
        programs = [bookers.started(bookers.drop, file, number, who) for who in ("one", "other")]
        for program in programs:
            program.let_go()
        (told,), (won,) = sorted(program.said() for program in programs)
        assert won == ("won", number)
        assert told[0] == "told"
        assert told[1].startswith(f"offcut {number}: is gone: used by o")
    with Shop(file) as shop:
        assert shop.pieces() == ()
        assert shop.faults() == []


def test_two_programs_may_make_the_shop_at_once(file: FilePath) -> None:
    programs = [bookers.started(bookers.open_shop, file) for _ in range(4)]
    for program in programs:
        program.let_go()
    said = [program.said() for program in programs]
    assert all(len(words) == 1 for words in said)
    assert len({words[0] for words in said}) == 1


def test_a_program_killed_at_any_moment_leaves_whole_bookings(file: FilePath) -> None:
    chance = random.Random(1)
    stays: set[int] = set()
    goes: set[int] = set()
    longest = 0.05
    for _ in range(25):
        program = bookers.started(bookers.churn, file)
        program.let_go()
        time.sleep(chance.random() * longest)
        program.kill()
        said = program.said()
        # On any machine some of the kills come after a few bookings, and some before the first.
        longest *= 0.7 if len(said) > 4 else 1.3
        for word, *numbers in said:
            if word == "added":
                stays.add(numbers[-1])
            else:
                goes.update(numbers)
        with Shop(file) as shop:
            assert shop.faults() == []
        bookings = sqlite3.connect(file)
        came = bookings.execute("SELECT count(*) FROM piece GROUP BY came").fetchall()
        assert {row[0] for row in came} <= {3}
        went = bookings.execute("SELECT count(*) FROM piece WHERE went NOT NULL GROUP BY went").fetchall()
        assert {row[0] for row in went} <= {2}
        bookings.close()
    with Shop(file) as shop:
        here = {piece.number for piece in shop.pieces()}
    # What was said to be done is done: it was on the disk before it was said.
    assert stays
    assert goes
    assert stays <= here
    assert not goes & here


# --- any order of bookings ------------------------------------------------------------------------


class Bookings(RuleBasedStateMachine):
    """A shop beside a plain list of what was there after each booking."""

    def __init__(self) -> None:
        super().__init__()
        self.shop = Shop(FilePath(":memory:"))
        self.states: list[set[int]] = [set()]

    @rule(count=st.integers(1, 3))
    def add(self, count: int) -> None:
        came = self.shop.add([eva()] * count, "add").came
        assert not set(came) & set().union(*self.states)
        self.states.append(self.states[-1] | set(came))

    @precondition(lambda self: self.states[-1])
    @rule(data=st.data())
    def drop(self, data: st.DataObject) -> None:
        went = data.draw(st.lists(st.sampled_from(sorted(self.states[-1])), min_size=1, unique=True))
        self.shop.drop(went, "drop")
        self.states.append(self.states[-1] - set(went))

    @precondition(lambda self: len(self.states) > 1)
    @rule()
    def undo(self) -> None:
        self.shop.undo()
        self.states.pop()

    @rule()
    def drop_what_is_not_there(self) -> None:
        with pytest.raises(InputError):
            self.shop.drop([*self.states[-1], 10**6], "drop")

    @invariant()
    def there_is_what_should_be(self) -> None:
        assert {piece.number for piece in self.shop.pieces()} == self.states[-1]
        assert self.shop.faults() == []

    def teardown(self) -> None:
        self.shop.close()


TestBookings = Bookings.TestCase
TestBookings.settings = settings(max_examples=25, stateful_step_count=12, deadline=None)


def test_json_of_an_outline_is_plain() -> None:
    assert json.loads(outline_text(rectangle(2, 1))) == [[[0, 0, 0], [2, 0, 0], [2, 1, 0], [0, 1, 0]]]
