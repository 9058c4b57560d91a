"""Tables on a terminal of any width: nothing is cut off, lines fit, and a pipe gets them unfolded."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.text import Text

from nestkit.cli.tables import bad, show, table_lines, wrapped

#: Letters of one cell, of two (East Asian Width, Unicode Annex 11), and what words are put together with.
WORDS = st.text(st.sampled_from("ab- _/,.棒"), max_size=30)
COLUMNS = (("part", "left"), ("size", "right"), ("cut by", "left"))


def squeezed(text: str) -> str:
    return "".join(text.split())


@given(WORDS, st.integers(2, 20))
def test_wrapping_loses_nothing_and_fits(text: str, width: int) -> None:
    lines = wrapped(text, width)
    assert lines
    assert all(cell_len(line) <= width for line in lines)
    assert squeezed("".join(lines)) == squeezed(text)
    if width >= cell_len(text):
        assert len(lines) == 1


@given(st.lists(st.tuples(WORDS, WORDS, WORDS), max_size=4), st.integers(12, 90))
def test_a_table_fits_every_terminal_and_holds_every_letter(rows: list[tuple[str, ...]], width: int) -> None:
    lines = [line.plain for line in table_lines(COLUMNS, rows, width)]
    assert all(cell_len(line) <= width for line in lines)
    letters = sorted(squeezed("".join("".join(row) for row in rows)))
    told = sorted(squeezed("".join(lines)))
    for letter in letters:
        told.remove(letter)


def test_a_pipe_gets_one_line_for_each_row(capsys: pytest.CaptureFixture[str]) -> None:
    name = "port-side-" * 30
    show(COLUMNS, [(name, "3 x 4 mm", "laser"), ("knob", "10 mm", bad("fits no sheet"))])
    head, first, second = capsys.readouterr().out.splitlines()
    assert first == f"{name}  3 x 4 mm  laser"
    assert head.index("cut by") == first.index("laser") == second.index("fits no sheet")
    assert head.index("size") + 4 == second.index("10 mm") + 5


def test_names_are_parted_where_they_are_put_together_and_cells_keep_their_style() -> None:
    rows = [("harbour-lantern-roof-panels", "184.5 x 60 mm", bad("fits no sheet of the shop"))]
    lines = table_lines(COLUMNS, rows, 45)
    assert [line.plain.rstrip() for line in lines] == [
        "part                     size  cut by",
        "harbour-        184.5 x 60 mm  fits no sheet",
        "lantern-roof-                  of the shop",
        "panels",
    ]
    assert any(span.style == "bold red" for span in lines[1].spans)


def test_a_narrow_terminal_gets_a_line_for_each_cell() -> None:
    rows = [("harbourlantern", "184.5 x 60 mm", Text("laser")), ("knob", "", "")]
    lines = [line.plain for line in table_lines(COLUMNS, rows, 22)]
    assert lines == ["harbourlantern", "  size: 184.5 x 60 mm", "  cut by: laser", "knob"]
    assert not any(re.search("  $", line) for line in lines)


def test_a_number_stays_with_its_unit() -> None:
    assert wrapped("height 30 mm, width 4 in", 14) == ["height 30 mm,", "width 4 in"]
    assert wrapped("eva 10 mm", 6) == ["eva", "10 mm"]
