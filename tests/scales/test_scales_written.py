"""What a comparison is written as: the table, the page, the chart, the folder."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from nestkit.build.pattern_info import Layers
from nestkit.checking import check_folder
from nestkit.errors import OutputError
from nestkit.output.folder import COMPARISON, check_out
from nestkit.preparing import read_build
from nestkit.scales.largest import Goal
from nestkit.scales.model import (
    Cliff,
    Comparison,
    GroupResult,
    Largest,
    LayerCount,
    LeftOut,
    Leftover,
    NoResult,
    SizeResult,
    SlimPart,
)
from nestkit.scales.words import cliff_sentence, largest_sentences, layer_notes, size_name
from nestkit.scales.write import comparison_files, largest_plan, write_comparison
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build


def group(sheets=2, cost=16.8, left=0, at_least=2, **more) -> GroupResult:
    settings = {
        "material": "eva",
        "thickness": 6.0,
        "copies": 9,
        "sheets": sheets,
        "sheets_at_least": at_least,
        "proven": at_least == sheets,
        "cost": cost,
        "sheet_area": 1e6 * sheets,
        "foam_area": 8e5,
        "seconds": 754.0,
        "by_hand": (),
        "left_out": (LeftOut("=sail", left, "no sheet left"),) if left else (),
        "leftover": Leftover(2, 5e4, (400.0, 120.0)),
        "laid": (),
    }
    return GroupResult(**{**settings, **more})


def size(scale, group_result, **more) -> SizeResult:
    return SizeResult(scale, 1200.0 * scale, 300.0 * scale, (group_result,), **more)


CLIFF = Cliff((1.03, group()), (1.034, group(3, 25.2, at_least=3)))
SIZES = (
    size(1.0, group(), layers=(LayerCount("hilt", Layers(4, 24.0, 25.0)),)),
    size(
        1.1,
        group(3, 25.2, left=2, by_hand=("shaft",)),
        layers=(LayerCount("hilt", Layers(5, 30.0, 27.5)),),
        slim=(SlimPart("@barb", 2, "neck", 1.25),),
    ),
)
FOUND = Comparison(
    "<Harbour & halberd>", "mm", "=blade", 1200.0, SIZES, (NoResult(1.2, "-lost", True),), (CLIFF,)
)


class Links(HTMLParser):
    """Collects what a page would load or link to, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.links += [value or "" for name, value in attrs if name in ("src", "href", "xlink:href")]

    def handle_data(self, data):
        self.words.append(data)


def read_table(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_the_table_says_every_size_and_no_cell_is_a_formula():
    rows = read_table(comparison_files(FOUND, {})["scales.csv"])
    assert [row["scale"] for row in rows] == ["1", "1.1", "1.2"]
    first, second, missing = rows
    assert (first["length (mm)"], first["height (mm)"], first["measured on"]) == ("1200", "300", "'=blade")
    assert (first["eva 6 mm: sheets"], first["eva 6 mm: certainly needed"]) == ("2", "2")
    assert (first["cost"], first["waste (%)"], first["cutting time (min)"]) == ("16.80", "60", "12.6")
    assert first["eva 6 mm: largest leftover (mm)"] == "400 x 120"
    assert first["layers (height error)"] == "hilt 4 (-1 mm)"
    assert second["cut by hand for its size"] == "shaft"
    assert second["too slim for the cutter"] == "'@barb (1.25)"
    assert second["left out"] == "'=sail (2)"
    assert missing["note"] == "'-lost"
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row.values())


def test_a_cliff_is_said_with_its_size_and_what_is_certain():
    words = cliff_sentence(FOUND, CLIFF)
    assert words == (
        "eva 6 mm: up to 1236 mm (scale 1.03) it is 2 sheets (16.80 to pay); above that 3 (25.20)."
        " That is proven."
    )
    found = replace(CLIFF, above=(1.034, group(3, 25.2, at_least=2)))
    assert cliff_sentence(FOUND, found).endswith("above that 3 (25.20), as far as was searched.")
    money = Cliff((1.03, group()), (1.034, group(cost=21.0)))
    assert "its 2 sheets cost 16.80; above that 21.00, as far as was searched." in cliff_sentence(
        FOUND, money
    )
    short = Cliff((1.03, group()), (1.034, group(left=1)))
    assert "everything has a place; above that one copy finds none." in cliff_sentence(FOUND, short)
    wide = Cliff((1.0, group()), (1.1, group(3, 25.2)))
    assert "not looked to the end" in cliff_sentence(FOUND, wide)


def test_inches_are_spoken_where_the_build_does():
    inches = replace(FOUND, unit="in")
    assert size_name(inches, 1.0) == "47.244 in"
    assert "length (in)" in read_table(comparison_files(inches, {})["scales.csv"])[0]
    bare = replace(FOUND, reference="")
    assert size_name(bare, 1.0) == "scale 1"


def test_layers_that_change_are_told_with_their_error():
    assert layer_notes(SIZES[1], SIZES[0], "mm") == ["hilt: 5 layers in place of 4, 2.5 mm too high"]
    assert layer_notes(SIZES[0], None, "mm") == []


def test_a_largest_size_is_said_with_what_stops_it():
    fits = Largest(None, SIZES[0], 1.004, ("eva 6 mm: no room was found for 2 copies (sail)",), False)
    first, second = largest_sentences(FOUND, fits)
    assert first == "The largest size that fits what is in the shop is 1200 mm (scale 1)."
    assert second.startswith(
        "What stops it at 1204.8 mm (scale 1.004) (found, not proven): eva 6 mm: no room"
    )
    none = Largest(5.0, None, 0.2, ("the sheets cost 9.90",), True)
    first, second, todo = largest_sentences(FOUND, none)
    assert "larger --budget" in todo
    assert first == "No size down to 240 mm (scale 0.2) costs 5.00 at most."
    assert "(certain)" in second
    assert "nestkit offcuts add" in largest_sentences(FOUND, replace(none, budget=None))[-1]


def test_the_page_needs_nothing_else_and_says_it_all():
    files = comparison_files(FOUND, {})
    page = Links()
    page.feed(files["scales.html"].decode())
    assert all(link.startswith(("#", "data:")) for link in page.links)
    words = " ".join(" ".join(page.words).split())
    for part in ("<Harbour & halberd>", "up to 1236 mm", "hilt: 5 layers", "left out: 2 copies", "-lost"):
        assert part in words
    assert files["scales.png"].startswith(b"\x89PNG")
    assert b"\xe2\x86\x92" in files["scales.svg"], "the chart says how many sheets before and after"
    assert b"something is left out" in files["scales.svg"], "and what its shading means"


def test_words_at_cliffs_that_lie_side_by_side_do_not_cover_each_other():
    near = Cliff((1.031, replace(group(), thickness=10.0)), (1.035, replace(group(3, 25.2), thickness=10.0)))
    both = tuple(
        replace(each, groups=(*each.groups, replace(each.groups[0], thickness=10.0))) for each in SIZES
    )
    drawn = comparison_files(replace(FOUND, sizes=both, cliffs=(CLIFF, near)), {})["scales.svg"].decode()
    places = re.findall(r'x="([\d.]+)" y="([\d.]+)"[^>]*>2 \N{RIGHTWARDS ARROW} 3<', drawn)
    (x, y), (other_x, other_y) = ((float(x), float(y)) for x, y in places)
    assert abs(x - other_x) > 20.0 or abs(y - other_y) > 9.0


def test_every_jump_has_its_words_however_many_there_are():
    steps = tuple(
        Cliff((1.0 + 0.006 * k, group(40 + k, 80.0 + k)), (1.003 + 0.006 * k, group(41 + k, 81.0 + k)))
        for k in range(6)
    )
    sizes = (size(1.0, group(40, 80.0)), size(1.1, group(46, 86.0)))
    drawn = comparison_files(replace(FOUND, sizes=sizes, cliffs=steps), {})["scales.svg"].decode()
    for k in range(6):
        assert f">{40 + k} \N{RIGHTWARDS ARROW} {41 + k}<" in drawn


def test_the_same_comparison_gives_the_same_bytes():
    assert comparison_files(FOUND, {}) == comparison_files(FOUND, {})


def test_one_size_has_no_chart_and_none_no_table():
    one = comparison_files(replace(FOUND, sizes=SIZES[:1], cliffs=()), {})
    assert "scales.png" not in one
    none = comparison_files(replace(FOUND, sizes=(), cliffs=(), missing=()), {})
    assert b"All sizes" not in none["scales.html"]


def test_the_folder_is_replaced_whole_and_what_the_maker_added_stays(tmp_path):
    out = tmp_path / "out"
    write_comparison(FOUND, {}, out)
    (out / "mine.txt").write_text("mine")
    write_comparison(replace(FOUND, sizes=SIZES[:1], cliffs=()), {}, out)
    assert sorted(file.name for file in out.iterdir()) == [
        "layouts.json",
        "mine.txt",
        "scales.csv",
        "scales.html",
        "scales.json",
    ]
    data = json.loads((out / "scales.json").read_bytes())
    assert data["format"] == "nestkit-scales"
    assert set(data["files"]) == {"layouts.json", "scales.csv", "scales.html", "scales.json"}


def test_a_folder_of_another_kind_is_not_touched(tmp_path):
    (tmp_path / "plan.json").write_text('{"format": "nestkit-plan"}')
    for act in (lambda: check_out(tmp_path, COMPARISON), lambda: write_comparison(FOUND, {}, tmp_path)):
        with pytest.raises(OutputError, match="no earlier comparison"):
            act()
    write_comparison(FOUND, {}, tmp_path / "sizes")
    with pytest.raises(OutputError, match="no earlier plan"):
        check_out(tmp_path / "sizes")


def test_the_plan_of_the_largest_size_is_written_and_passes_the_check(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0, "in_shop = 2\nbuy = false"))
    found = compared(file, (), rounds=8, goals=[Goal()])
    (shop,) = found.largest
    assert shop.best is not None
    plan = largest_plan(read_build(file, shop.best.scale), shop.best, 1)
    write_comparison(found, {0: plan}, tmp_path / "out")
    folder = tmp_path / "out" / "largest-from-shop"
    verdict = check_folder(folder)
    assert verdict.ok
    assert verdict.copies == len(JIGSAW)
    data = json.loads((folder / "plan.json").read_bytes())
    assert data["scale"] == pytest.approx(shop.best.scale)
    assert data["groups"][0]["sheets_used"] == shop.best.groups[0].sheets
    assert b'href="largest-from-shop/report.html"' in (tmp_path / "out" / "scales.html").read_bytes()
