"""A build in inches is told everything in inches: what drawings, kerf, grooves and coupons have to say.

The drawing is in millimetres, so that every figure that is told had to be converted: 1 in = 25.4 mm.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from nestkit.cli import app
from nestkit.cutting.coupon import coupon_jobs
from nestkit.errors import InputError
from nestkit.preparing import read_build

BUILD = """[build]
name = "Pilot's cutter"
units = "in"

[cutter]
kind = "laser"
bed = [40, 30]
kerf = 0.01
{cutter}

[[sheet]]
thickness = 0.25
size = [40, 30]
buy = true

[[part]]
name = "plank"
from = "boat.svg#plank"
thickness = 0.25
"""

#: Each inside a plank of 254 x 127 mm, 10 x 5 in, whose lower left corner is at (25.4, 25.4) mm.
NOTED = {
    "hole-vanished": (
        '<rect x="147.4" y="88.8" width="10" height="0.2"/>',
        "a hole of 0.3937 x 0.0079 in, 5 in right of and 2.5 in above the part's lower left corner, "
        "is no wider than the kerf of 0.0100 in",
    ),
    "hole-split": (
        '<path d="M 50,50 H 60 V 59.9 H 80 V 50 H 90 V 70 H 80 V 60.1 H 60 V 70 H 50 Z"/>',
        "a hole of 1.5748 x 0.7874 in",
    ),
    "fold-tight": (
        '<g id="fold 90"><path d="M 150,25.4 V 80 A 3,3 0 0 1 156,80 V 25.4"/></g>',
        "half its groove's width of",
    ),
    "grooves-overlap": (
        '<g id="fold 90"><path d="M 101.6,25.4 V 152.4"/><path d="M 103,25.4 V 152.4"/></g>',
        "fold 90 from (3.000, 5.000) to (3.000, 0.000) in",
    ),
    "fold-short": ('<g id="fold 90"><path d="M 101.6,25.4 V 127"/></g>', "ends 1 in before the edge"),
    "tiny-sliver": ('<rect x="50" y="50" width="30" height="0.05"/>', "a closed line of 1.1811 x 0.0020 in"),
    "doubled-line": (
        '<g id="mark"><path d="M 50,50 H 75.4"/><path d="M 50,50 H 75.4"/></g>',
        "twice over 1 in",
    ),
}

REFUSED = {
    "its groove is": (
        '<g id="fold 90"><path d="M 26.4,25.4 V 152.4"/></g>',
        r"wide and reaches out .*\) in\.",
    ),
    "an outline is open": (
        '<path d="M 50,60 H 80 V 80 H 50 V 65.08"/>',
        r"0\.2000 in are missing from here to \(1\.969, 4\.\d{3}\) in",
    ),
}


def boat(folder: Path, inside: str, cutter: str = "") -> Path:
    page = 'width="304.8mm" height="177.8mm" viewBox="0 0 304.8 177.8" fill="none" stroke="#000"'
    plank = '<rect x="25.4" y="25.4" width="254" height="127"/>'
    (folder / "boat.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" {page}><g id="plank">{plank}{inside}</g></svg>'
    )
    file = folder / "build.toml"
    file.write_text(BUILD.format(cutter=cutter))
    return file


@pytest.mark.parametrize("code", NOTED)
def test_what_is_noticed(tmp_path: Path, code: str) -> None:
    inside, words = NOTED[code]
    build = read_build(boat(tmp_path, inside), None)
    told = [str(finding) for finding in build.parts[0].findings if finding.code == code]
    assert told
    assert words in told[0]
    assert not [text for text in told if re.search(r"\bmm\b", text)]


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_refused(tmp_path: Path, what: str) -> None:
    inside, words = REFUSED[what]
    with pytest.raises(InputError) as raised:
        read_build(boat(tmp_path, inside), None)
    told = [str(problem) for problem in raised.value.problems]
    assert any(what in text and re.search(words, text) for text in told), told
    assert not [text for text in told if re.search(r"\bmm\b", text)]


def test_lines_too_coarse_for_a_groove(tmp_path: Path) -> None:
    fold = '<g id="fold 20"><path d="M 101.6,25.4 V 152.4"/></g>'
    build = read_build(boat(tmp_path, fold, "area_mode = false\npitch = 0.05"), None)
    (told,) = (str(finding) for finding in build.parts[0].findings if finding.code == "groove-lines")
    assert "lines at a pitch of 0.0500 in" in told
    assert "mm" not in told


def test_a_skin_that_leaves_nothing(tmp_path: Path) -> None:
    fold = '<g id="fold 90"><path d="M 101.6,25.4 V 152.4"/></g>'
    with pytest.raises(
        InputError, match=r"a skin of 0\.2500 in leaves nothing to etch in foam of 0\.2500 in"
    ):
        read_build(boat(tmp_path, fold, "skin = 0.25"), None)


def test_a_coupon_larger_than_the_bed(tmp_path: Path) -> None:
    file = boat(tmp_path, "")
    file.write_text(
        file.read_text().replace("bed = [40, 30]", "bed = [10.5, 2]").replace("[40, 30]", "[9, 1.5]")
    )
    build = read_build(file, None)
    with pytest.raises(InputError, match=r"it is [\d.]+ x [\d.]+ in and larger than the bed"):
        coupon_jobs(build)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (
            "[templates]\nmargin = 8",
            "outside 0 in to 0.984 in. A printer leaves 0.118 in to 0.591 in white.",
        ),
        ("[templates]\noverlap = 9", "0.394 in is enough to tape two pages together."),
        ("[labels]\nheight = 7", "0.236 in can be read at arm's length."),
    ],
)
def test_what_paper_and_labels_allow(tmp_path: Path, row: str, told: str) -> None:
    file = boat(tmp_path, "")
    file.write_text(f"{file.read_text()}\n{row}\n")
    with pytest.raises(InputError) as raised:
        read_build(file, None)
    assert told in str(raised.value)
    assert not re.search(r"\bmm\b", str(raised.value))


def test_the_shop_in_inches_without_asking_each_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A piece of 24 x 18 in is 3 square feet."""
    monkeypatch.setenv("NESTKIT_UNIT", "in")
    monkeypatch.setenv("NESTKIT_SHOP", str(tmp_path / "shop.sqlite"))

    def run(*words: str) -> str:
        return (
            CliRunner()
            .invoke(app, ["offcuts", *words], catch_exceptions=False, env={"COLUMNS": "200"})
            .output
        )

    assert "--size 16x12in" in run("list")
    run("add", "--size", "24x18", "--material", "eva", "--thickness", "0.25")
    told = run("list")
    assert "24 x 18 in" in told
    assert "1 piece, 3.0 ft2" in told
    assert not re.search(r"\bmm\b|\bm2\b", told)
