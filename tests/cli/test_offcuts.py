"""The offcuts commands: what they say, what they keep, and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from nestkit.build.starter import write_starter
from nestkit.cli import app
from nestkit.errors import InputError, NestkitError
from nestkit.stock.shop import Shop
from nestkit.units import read_lengths


@pytest.fixture(autouse=True)
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NESTKIT_SHOP", str(tmp_path / "shop.sqlite"))
    return tmp_path / "shop.sqlite"


def run(*words: object) -> Result:
    return CliRunner().invoke(app, ["offcuts", *map(str, words)], catch_exceptions=False)


def data(*words: object) -> Any:
    done = run(*words, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


EVA = ("--material", "EVA", "--thickness", "6")


def test_an_empty_shop_says_how_to_fill_it(shop: Path) -> None:
    done = run("list")
    assert done.exit_code == 0
    assert "There is nothing in the shop" in done.output
    assert "nestkit offcuts add --size 400x300" in done.output
    assert not shop.exists()
    assert data("list")["pieces"] == []


def test_a_rectangle_goes_in_and_is_listed(shop: Path) -> None:
    done = run("add", "--size", "400x300", *EVA, "--place", "left shelf", "--note", "one corner torn")
    assert done.output.splitlines()[0] == "offcut 1: eva 6 mm 400 x 300 mm, left shelf"
    assert "nestkit offcuts undo" in done.output
    (row,) = [line for line in run("list").output.splitlines() if line.startswith("offcut 1")]
    assert all(word in row for word in ("eva", "6 mm", "400 x 300 mm", "left shelf", "one corner torn"))
    (piece,) = data("list")["pieces"]
    assert (piece["area_mm2"], piece["whole"], piece["outline_mm"][2]) == (120_000, False, [400, 300])


def test_inches_and_several_alike() -> None:
    added = data(
        "add", "--size", "24x12in", "--material", "eva", "--thickness", "0.25in", "--whole", "--count", 3
    )
    assert added["booking"]["came"] == [1, 2, 3]
    # 24 in = 609.6 mm, by definition of the inch.
    assert {(p["width_mm"], p["thickness_mm"], p["whole"]) for p in added["pieces"]} == {(609.6, 6.35, True)}
    assert "24 x 12 in" in run("list", "--unit", "in").output


def test_a_drawn_edge_goes_in_with_its_holes_and_arcs(tmp_path: Path) -> None:
    (tmp_path / "rest.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="200mm" viewBox="0 0 300 200">'
        '<g id="rest"><path d="M10 10 H210 A50 50 0 0 1 210 110 H10 Z"/>'
        '<circle cx="60" cy="60" r="20"/></g></svg>'
    )
    (piece,) = data("add", "--from", "rest.svg#rest", *EVA)["pieces"]
    # A rectangle and a half disc less a disc: 200 * 100 + pi * 50^2 / 2 - pi * 20^2.
    assert piece["area_mm2"] == pytest.approx(20_000 + 3.14159265 * (1250 - 400), abs=0.01)
    assert len(piece["holes_mm"]) == 1
    assert (piece["width_mm"], piece["height_mm"]) == (250, 100)
    with Shop(tmp_path / "shop.sqlite") as shop:
        assert shop.pieces()[0].outline.exterior.has_arcs


def test_the_list_can_be_narrowed() -> None:
    run("add", "--size", "400x300", *EVA)
    run("add", "--size", "400x300", "--material", "eva", "--thickness", "10")
    run("add", "--size", "400x300", "--material", "cork", "--thickness", "6")
    assert [p["piece"] for p in data("list", "--material", "Eva")["pieces"]] == [1, 2]
    assert [p["piece"] for p in data("list", "--thickness", "6mm")["pieces"]] == [3, 1]
    assert "nothing like that" in run("list", "--material", "felt").output


def test_what_is_dropped_is_gone_until_that_is_taken_back() -> None:
    run("add", "--size", "400x300", *EVA, "--count", 3)
    assert data("drop", 1, 3, "--why", "glued to the bell")["booking"]["went"] == [1, 3]
    assert [p["piece"] for p in data("list")["pieces"]] == [2]
    with pytest.raises(InputError, match="offcut 1: is gone: glued to the bell"):
        run("drop", 1)
    done = run("undo")
    assert "taken back: glued to the bell" in done.output
    assert "there again: 1, 3" in done.output
    assert len(data("list")["pieces"]) == 3
    assert data("undo")["booking"]["came"] == [1, 2, 3]
    with pytest.raises(InputError, match="nothing was ever booked"):
        run("undo")


def test_a_photo_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such picture"):
        run("add", "--size", "400x300", *EVA, "--photo", "rest.jpg")
    (tmp_path / "rest.jpg").write_bytes(b"")
    run("add", "--size", "400x300", *EVA, "--photo", "rest.jpg")
    assert f"photo: {tmp_path / 'rest.jpg'}" in run("list").output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "what it is must be said in one way"),
        (("--size", "4x3", "--from", "a.svg"), "what it is must be said in one way"),
        (("--size", "400x300"), "--material is missing"),
        (("--size", "400x300", "--material", "eva"), "--thickness is missing"),
        (("--size", "400", *EVA), "'400' is no size. Write for example 400x300"),
        (("--size", "400x-3", *EVA), "is no size"),
        (("--size", "400x0", *EVA), "is no size of a sheet"),
        (("--size", "400x300", "--material", "eva", "--thickness", "thick"), "'thick' is no length"),
        (("--size", "400x300", "--material", " ", "--thickness", "6"), "a piece has a material"),
        (("--from", "rest.svg", *EVA), "rest.svg: there is no such file"),
    ],
)
def test_what_is_not_understood_is_told_and_nothing_is_kept(
    words: tuple[str, ...], told: str, shop: Path
) -> None:
    with pytest.raises(NestkitError, match=told):
        run("add", *words)
    assert not shop.exists()


def test_there_must_be_a_shop_to_take_from() -> None:
    for words in (("drop", 1), ("undo",)):
        with pytest.raises(InputError, match="there is no shop yet"):
            run(*words)


def test_typed_lengths() -> None:
    assert read_lengths("400 x 300", 2) == (400, 300)
    assert read_lengths("400X300mm", 2, "in") == (400, 300)
    assert read_lengths("16×12", 2, "in") == pytest.approx((406.4, 304.8))
    assert read_lengths("1in x 30mm", 2) == pytest.approx((25.4, 30))
    assert read_lengths(".25in", 1) == pytest.approx((6.35,))


def plan(*words: object) -> Result:
    return CliRunner().invoke(app, ["plan", *map(str, words)], catch_exceptions=False)


def test_a_build_is_planned_on_offcuts_and_booked(tmp_path: Path) -> None:
    write_starter(tmp_path)
    run("add", "--size", "590x390", *EVA, "--place", "left shelf")
    run("add", "--size", "590x390", "--material", "eva", "--thickness", "4")
    done = plan("build.toml", "--offcuts", "--rounds", 2, "--out", "out")
    assert done.exit_code == 0, done.output
    assert "2 pieces of this build's foams in the shop" in done.output
    assert "Once it is cut: nestkit offcuts use out" in done.output
    written = json.loads((tmp_path / "out" / "plan.json").read_bytes())
    assert sorted(sheet["piece"] for sheet in written["sheets"]) == [1, 2]
    assert [group["cost"] for group in written["groups"]] == [0, 0]
    assert "left shelf" in (tmp_path / "out" / "shopping.csv").read_text("utf-8-sig")
    page = (tmp_path / "out" / "report.html").read_text()
    assert "offcut 1 of the shop (left shelf)" in page
    assert 'class="kept"' in page
    used = data("use", "out", "--place", "bench")
    assert (used["booking"]["went"], used["earlier"]) == ([1, 2], [])
    assert {piece["place"] for piece in used["pieces"]} == {"bench"}
    assert [piece["piece"] for piece in data("list")["pieces"]] == used["booking"]["came"]
    with pytest.raises(InputError, match="booked already"):
        run("use", "out")
    run("undo")
    (sheet,) = data("use", "out", "--sheets", 2)["sheets"]
    assert sheet == 2
    done = run("use", "out")
    told = "note: sheet 2 was left alone, it is booked already: cut 'Pageant lantern', sheet 2, 20"
    assert told in done.output


def test_leftovers_of_one_sheet_go_in(tmp_path: Path) -> None:
    write_starter(tmp_path)
    plan("build.toml", "--rounds", 2, "--out", "out")
    added = data("add", "--plan", "out", "--sheet", 1)
    assert added["booking"]["kind"] == "add"
    assert added["pieces"][0]["note"] == "left of Pageant lantern, sheet 1"
    with pytest.raises(InputError, match="in one way"):
        run("add", "--plan", "out")


def test_what_is_left_is_told_in_the_plans_unit(tmp_path: Path) -> None:
    """Of a build in inches in inches, unless another unit is asked for."""
    write_starter(tmp_path)
    plan("build.toml", "--rounds", 2, "--out", "metric")
    file = tmp_path / "build.toml"
    text = (
        file.read_text().replace('units = "mm"', 'units = "in"').replace("bed = [600, 400]", "bed = [40, 30]")
    )
    for before, after in (("thickness = 6", "thickness = 0.25"), ("thickness = 4", "thickness = 0.125")):
        text = text.replace(before, after)
    text = text.replace("margin = 10", "margin = 0.4").replace("overlap = 10", "overlap = 0.4")
    file.write_text(text.replace("size = [600, 400]", "size = [40, 30]").replace("gap = 2", "gap = 0.1"))
    plan("build.toml", "--rounds", 2, "--out", "imperial")
    for folder, unit, other in (("metric", "mm", "in"), ("imperial", "in", "mm")):
        for done in (run("use", folder), run("use", folder, "--again", "--unit", other)):
            left = [line for line in done.output.splitlines() if line.startswith("left: ")]
            assert left
            assert all(line.endswith(f" {unit}") for line in left), left
            unit = other
    run("undo")
    run("undo")
    assert " in\n" in run("add", "--plan", "imperial", "--sheet", 1, "--again").output


def test_there_must_be_a_shop_to_plan_from(tmp_path: Path) -> None:
    write_starter(tmp_path)
    with pytest.raises(InputError, match="there is no shop yet"):
        plan("build.toml", "--offcuts")
    run("add", "--size", "400x300", "--material", "cork", "--thickness", "3")
    done = plan("build.toml", "--offcuts", "--rounds", 1, "--out", "out")
    assert "The shop has nothing of this build's foams." in done.output
    assert json.loads((tmp_path / "out" / "plan.json").read_bytes())["shop"] is None


@pytest.mark.parametrize("text", ["two", "0", "1-"])
def test_what_is_no_number_of_a_sheet_is_told(text: str) -> None:
    with pytest.raises(InputError, match=f"--sheets: '{text}' is no list of numbers. Write for example 1,3"):
        run("use", "out", "--sheets", text)


def test_a_spoiled_part_is_planned_again_on_an_offcut(tmp_path: Path) -> None:
    write_starter(tmp_path)
    run("add", "--size", "300x200", "--material", "eva", "--thickness", "4")
    done = plan("build.toml", "--only", "collar=1", "--rounds", 1)
    assert done.exit_code == 0, done.output
    # The plan of the whole build would stand in out/NAME.
    folder = tmp_path / "out" / f"{tmp_path.name}-recut"
    written = json.loads((folder / "plan.json").read_bytes())
    assert [(part["part"], part["copies"]) for part in written["parts"]] == [("collar", 1)]
    assert [sheet["stock"] for sheet in written["sheets"]] == ["offcut 1"]
    bought = plan("build.toml", "--only", "collar", "--no-offcuts", "--rounds", 1, "--out", "bought")
    assert bought.exit_code == 0
    assert json.loads((tmp_path / "bought" / "plan.json").read_bytes())["sheets"][0]["piece"] is None
    with pytest.raises(InputError, match=r"'colar': there is no such part\. Did you mean 'collar'\?"):
        plan("build.toml", "--only", "colar=2")
    with pytest.raises(InputError, match=r"--only: 'collar=0' asks for none\. Write for example"):
        plan("build.toml", "--only", "collar=0")


def test_sheets_that_are_cut_stay_when_the_build_changes(tmp_path: Path) -> None:
    write_starter(tmp_path)
    assert plan("build.toml", "--rounds", 2, "--out", "out").exit_code == 0
    before = json.loads((tmp_path / "out" / "plan.json").read_bytes())
    build = tmp_path / "build.toml"
    assert "quantity = 3" in build.read_text()
    build.write_text(build.read_text().replace("quantity = 3", "quantity = 5", 1))
    done = plan("build.toml", "--rounds", 2, "--out", "out", "--keep", "out", "--sheets", "1-2")
    assert done.exit_code == 0, done.output
    assert "kept: 2 sheets with 6 copies" in done.output
    after = json.loads((tmp_path / "out" / "plan.json").read_bytes())
    assert [bool(sheet["kept"]) for sheet in after["sheets"]][:2] == [True, True]
    assert [bool(sheet["kept"]) for sheet in after["sheets"]][2:] in ([False], [False, False])
    assert [part["copy"] for part in after["sheets"][0]["parts"]] == [
        part["copy"] for part in before["sheets"][0]["parts"]
    ]
    assert "cut already: don&#39;t cut it again" in (tmp_path / "out" / "report.html").read_text()
    assert "cut already" in (tmp_path / "out" / "cutting.csv").read_text("utf-8-sig")
    with pytest.raises(InputError, match="--only and --keep exclude each other"):
        plan("build.toml", "--keep", "out", "--only", "collar")
    with pytest.raises(InputError, match="Give --keep DIR too"):
        plan("build.toml", "--sheets", "1")
