"""Readings come in as they were written down; settings go back without touching anything else."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.build.readings import read_readings
from nestkit.build.settings import FoamSettings, can_be_set, with_settings, write_settings
from nestkit.errors import InputError

TEXT = """# My build.   Two spaces and a tab\tstay.
[build]
name = "Bell"   # a remark

[cutter]
kind = 'laser'
kerf = 0.20
bed = [900, 600]

[[sheet]]
thickness = 6
size = [1000,
  500]  # odd layout

[[foam]]          # measured in spring
thickness = 6
kerf = 0.25       # old blade
skin = 0.7

[[part]]
name = "b"
from = "b.svg#b"
thickness = 6
"""
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
<path id="b" d="M5 5h60v40h-60z"/></svg>"""
NEW = FoamSettings("eva", 6.0, {"kerf": 0.1934567, "width_factor": 1.08123})


def test_comments_and_layout_stay() -> None:
    written = with_settings(TEXT, [NEW], "mm")
    assert written == TEXT.replace("kerf = 0.25       # old", "kerf = 0.1935       # old").replace(
        "skin = 0.7\n", "skin = 0.7\nwidth_factor = 1.0812\n"
    )


def test_a_new_foam_gets_a_table_and_lengths_are_in_the_files_unit() -> None:
    thin = FoamSettings("eva", 0.157 * 25.4, {"kerf": 0.254, "width_factor": 1.1})
    both = tomllib.loads(with_settings(TEXT.replace("thickness = 6", "thickness = 0.236"), [thin], "in"))
    assert both["foam"][1] == {"material": "eva", "thickness": 0.157, "kerf": 0.01, "width_factor": 1.1}
    without = TEXT[: TEXT.index("[[foam]]")] + TEXT[TEXT.index("[[part]]") :]
    written = with_settings(without, [NEW], "mm")
    assert written.startswith(without)
    assert tomllib.loads(written)["foam"][0]["kerf"] == 0.1935


@given(st.floats(0.001, 5.0), st.floats(0.2, 5.0))
def test_what_is_written_is_what_is_read(kerf: float, factor: float) -> None:
    data = tomllib.loads(
        with_settings(TEXT, [FoamSettings("eva", 6.0, {"kerf": kerf, "width_factor": factor})], "mm")
    )
    assert data["foam"][0]["kerf"] == pytest.approx(kerf, abs=1e-4)
    assert data["foam"][0]["width_factor"] == pytest.approx(factor, abs=1e-4)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "b.svg").write_text(DRAWING)
    file = tmp_path / "build.toml"
    file.write_bytes(TEXT.replace("\n", "\r\n").encode())
    return file


def test_the_old_file_stays_beside_the_new_one(file: Path) -> None:
    before = file.read_bytes()
    first = write_settings(file, [NEW], "mm")
    assert first.name == "build-before-1.toml"
    assert first.read_bytes() == before
    assert file.read_bytes().count(b"\r\n") >= before.count(b"\r\n")
    assert write_settings(file, [NEW], "mm").name == "build-before-2.toml"
    assert sorted(path.name for path in file.parent.iterdir()) == [
        "b.svg",
        "build-before-1.toml",
        "build-before-2.toml",
        "build.toml",
    ]


def test_settings_with_which_no_build_can_be_read_change_nothing(file: Path) -> None:
    before = file.read_bytes()
    with pytest.raises(InputError) as caught:
        write_settings(file, [FoamSettings("eva", 6.0, {"kerf": 33.0})], "mm")
    first, second = (str(problem) for problem in caught.value.problems)
    assert first == (
        "build.toml: with the new settings the build can't be read, so nothing was changed. "
        "Mend what follows, then calibrate again."
    )
    assert second.startswith("build.toml: foam[1]: kerf (line ")
    assert file.read_bytes() == before
    assert sorted(path.name for path in file.parent.iterdir()) == ["b.svg", "build.toml"]


def test_a_link_to_a_build_file_stays_one(file: Path, tmp_path: Path) -> None:
    real = tmp_path / "shared" / "real.toml"
    real.parent.mkdir()
    file.rename(real)
    file.symlink_to(real)
    kept = write_settings(file, [NEW], "mm")
    assert file.is_symlink()
    assert "0.1935" in real.read_text()
    assert kept == real.with_name("real-before-1.toml")


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "a disk without them"])
def test_what_a_killed_run_left_is_taken_away_later(file: Path, monkeypatch, links: bool) -> None:
    def no_link(*_: object) -> None:
        raise PermissionError

    if not links:
        monkeypatch.setattr(os, "link", no_link)
    left = [file.with_name(f".build.toml.{kind}-0badcafe") for kind in ("new", "old", "try")]
    mine = file.with_name(".build.toml.swp")
    for each in (*left, mine):
        each.write_text("half a fi")
        os.utime(each, (1e9, 1e9))
    young = file.with_name(".build.toml.try-12345678")
    young.write_text("at work")
    before = file.read_bytes()
    assert write_settings(file, [NEW], "mm").read_bytes() == before
    assert write_settings(file, [NEW], "mm").name == "build-before-2.toml"
    there = {each.name for each in file.parent.iterdir() if each.name[0] == "."}
    assert there == {mine.name, young.name}


def test_what_a_build_file_takes() -> None:
    assert can_be_set("kerf", 0.2, "mm")
    assert not can_be_set("kerf", 33.0, "mm")
    assert not can_be_set("width_factor", 0.1, "mm")
    assert not can_be_set("pass_depth", 0.0, "in")


def test_a_file_that_cant_be_changed_safely_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text("foam = 3\n")
    with pytest.raises(InputError, match="foam is not written as"):
        write_settings(file, [NEW], "mm")
    assert file.read_text() == "foam = 3\n"
    assert list(tmp_path.iterdir()) == [file]


HEAD = "material,thickness,unit,field,measures,setting,passes,depth,what to measure,reading 1,reading 2\n"


def test_readings_in_inches_with_decimal_commas_from_a_spreadsheet(tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    rows = HEAD + "EVA,0.236,in,K1,kerf,5,,,gap,0.04,\nEVA,0.236,in,S1,skin,0.02,7,0.2126,angle,88.5,89\n"
    file.write_text(rows.replace(",", ";").replace(".", ","), encoding="utf-8-sig")
    (foam,) = read_readings(file)
    assert (foam.material, foam.thickness) == ("eva", pytest.approx(0.236 * 25.4))
    gap, angle = foam.readings
    assert (gap.kind, gap.setting, gap.values) == ("kerf", 5.0, (pytest.approx(0.04 * 25.4),))
    assert angle.values == (88.5, 89.0)
    assert (angle.setting, angle.depth) == (pytest.approx(0.508), pytest.approx(0.2126 * 25.4))


WRONG = [
    (HEAD + "eva,6,mm,K1,kerf,5,,,gap,lots,\n", "line 2, field 'K1'.*'lots' under reading 1 is no number"),
    (HEAD + "eva,6,mm,K1,kerf,5,,,gap,-1,\n", "'-1' under reading 1 can't be right"),
    (HEAD + "eva,6,cm,K1,kerf,5,,,gap,1,\n", "its unit is neither mm nor in"),
    (HEAD + "eva,6,mm,K1,gap,5,,,gap,1,\n", "it measures 'gap', which is none of"),
    (HEAD + "eva,6,mm,S1,skin,1,7,5,a,190,\n", "an angle lies between 0 and 180"),
    (HEAD + "eva,6,mm,K1,kerf,5,,,gap,,\n", "it holds no readings"),
    (
        HEAD + "eva,6,mm,D1,depth,1,1,,d,0.8,6\n",
        "'6' under reading 2 is no less than the foam's thickness of 6",
    ),
    (
        HEAD + "eva,6,mm,D1,depth,1,0,,d,0.8,\n",
        "line 2, field 'D1'.*its number of passes should be 1 or more",
    ),
    (HEAD + "eva,6,mm,W1,width,1,,5,a,80,\n", "its number of passes should be 1 or more"),
    (HEAD + "eva,0,mm,K1,kerf,5,,,gap,1,\n", "'0' under thickness is no number above 0"),
    (HEAD + "\neva,6,mm,K1,kerf,5,,gap,1\n", "line 3.: the row has fewer cells than the table has columns"),
    (
        HEAD + "eva,6,mm,K1,kerf,5,,,gap,1,04,1\n",
        "line 2.: the row has more cells than the table has columns",
    ),
    ("a,b\n1,2\n", "has no column 'material'"),
]


@pytest.mark.parametrize(("text", "what"), WRONG)
def test_mistakes_in_readings_are_told_with_their_line(tmp_path: Path, text: str, what: str) -> None:
    file = tmp_path / "r.csv"
    file.write_text(text)
    with pytest.raises(InputError, match=what):
        read_readings(file)


def test_every_row_that_is_wrong_is_told_and_empty_ones_are_none(tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text(HEAD + "eva,6,mm,D1,depth,1,0,,d,0.8,,,,\n,,,,,,,,,,\neva,6,mm,K1\n")
    with pytest.raises(InputError) as caught:
        read_readings(file)
    assert [problem.where for problem in caught.value.problems] == [
        "r.csv (line 2, field 'D1')",
        "r.csv (line 4)",
    ]


def test_a_lighter_pass_counts_as_its_share(tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text(HEAD + "eva,6,mm,S5,skin,0.21,7.5,5.79,angle,88,\n")
    ((reading,),) = [foam.readings for foam in read_readings(file)]
    assert reading.passes == 7.5


def test_files_that_are_no_table(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be read"):
        read_readings(tmp_path / "none.csv")
    (tmp_path / "r.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_readings(tmp_path / "r.csv")
