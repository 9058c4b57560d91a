"""Coupons: every field on the piece, nested passes, nothing too close; files that a judge accepts."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon

from nestkit.checking import check_coupon
from nestkit.cutting.coupon import coupon_jobs
from nestkit.errors import InputError, OutputError
from nestkit.folds import FoldSettings
from nestkit.folds.coupon import PLUGS, coupon_for
from nestkit.folds.figures import figures
from nestkit.output.coupon import coupon_files, write_coupons
from tests.cutting.reading import read_digit
from tests.folds_bench import build_with, plate

BUILD = build_with(plate(100, 50), 6.0)


@given(st.floats(2.0, 10.0), st.floats(0.3, 1.2), st.floats(0.3, 1.5), st.floats(0.0, 0.4))
def test_fields_lie_apart_and_passes_lie_in_each_other(
    thickness: float, pass_depth: float, skin: float, kerf: float
) -> None:
    coupon = coupon_for(thickness, FoldSettings(pass_depth=pass_depth, skin=skin), kerf, 224.0, True)
    width, height = coupon.size
    cuts = [Polygon(path.points) for _, path in coupon.cuts]
    assert all(shapely.box(0, 0, width, height).contains(cut) for cut in cuts)
    assert all(a.distance(b) > 2.0 for k, a in enumerate(cuts) for b in cuts[:k])
    assert {name for name, _ in coupon.marks} == {field.name for field in coupon.fields}
    areas = {(name, number): Polygon(path.points) for name, number, path in coupon.areas}
    for (name, number), area in areas.items():
        if number > 1:
            assert areas[name, number - 1].buffer(1e-9).covers(area)
    # No field etches deeper than the passes of the sheet go, and they leave a skin.
    assert max(number for _, number in areas) == coupon.steps.count
    assert coupon.steps.skin >= min(0.15, skin) - 1e-9
    assert coupon.last in (1.0, 1 / 2, 1 / 3, 1 / 4)
    stairs = [field.value for field in coupon.fields if field.kind == "depth"]
    assert (stairs[0], len(stairs) <= 12) == (1, True)
    assert stairs[-1] == coupon.steps.count - (coupon.last < 1.0)


@pytest.mark.parametrize("thickness", [2.0, 4.0, 6.0, 10.0])
@pytest.mark.parametrize("skin", [0.3, 0.4, 0.6, 1.0, 1.5])
@pytest.mark.parametrize("pass_depth", [0.4, 0.8, 1.2])
def test_the_row_of_skins_goes_past_the_skin_that_is_asked(
    thickness: float, skin: float, pass_depth: float
) -> None:
    coupon = coupon_for(thickness, FoldSettings(pass_depth=pass_depth, skin=skin), 0.2, 224.0, True)
    skins = [field.value for field in coupon.fields if field.kind == "skin"]
    assert len(skins) == 5
    assert skins == sorted(skins, reverse=True)
    assert any(value == pytest.approx(skin) for value in skins)
    assert skins[0] > skin + 0.3
    # Under 0.4 mm a thinner skin is nothing that foam can be etched to with coarse passes.
    if skin >= 0.4 and not (pass_depth == 1.2 and thickness == 10.0 and skin == 0.4):
        assert skins[-1] < skin - 0.1
    assert min(skins) >= 0.15


def test_a_lighter_last_pass_is_told_and_counted_as_its_share() -> None:
    (one,) = coupon_jobs(BUILD)
    assert one.coupon.last == 0.5
    thinnest = next(field for field in one.coupon.fields if field.name == "S5")
    assert (thinnest.passes, one.coupon.steps.count) == (7.5, 8)
    assert thinnest.depth == pytest.approx(7.5 * 5.4 / 7)
    page = coupon_files(BUILD, [one])["coupon-eva-6mm.pdf"]
    text = pypdfium2.PdfDocument(page)[0].get_textpage().get_text_range()
    assert "Only the last layer, POCKET_08, is a lighter pass: the same power at twice the speed." in text
    assert "leave it empty" in text


@pytest.mark.parametrize("pitch", [0.2, 0.3])
def test_without_area_mode_coupons_are_lines_as_jobs_are(tmp_path: Path, pitch: float) -> None:
    build = build_with(plate(100, 50), 4.0, area_mode=False, pitch=pitch, hatch_angle=0.3)
    (one,) = coupon_jobs(build)
    lines = [stroke for stroke in one.job.strokes if stroke.layer.startswith("POCKET")]
    assert not any(stroke.path.closed for stroke in lines)
    steps = one.coupon.steps
    for field in one.coupon.fields:
        if field.kind == "kerf":
            continue
        areas = [Polygon(path.points).area for name, _, path in one.coupon.areas if name == field.name]
        drawn = math.fsum(
            stroke.path.length * pitch * steps.rises[int(stroke.layer[-2:]) - 1]
            for stroke in lines
            if stroke.part == field.name
        )
        wanted = sum(area * rise for area, rise in zip(areas, steps.rises, strict=False))
        assert drawn == pytest.approx(wanted, rel=0.05), field.name
    assert one.job.etching.seconds == pytest.approx(sum(line.path.length for line in lines) / 200.0)
    write_coupons(build, (one,), tmp_path / "out")
    assert check_coupon(tmp_path / "out", "coupon-eva-4mm.dxf") == ()


def test_what_the_fields_tell() -> None:
    coupon = coupon_for(6.0, FoldSettings(), 0.2, 224.0, True)
    values = {field.name: field.value for field in coupon.fields}
    # n plugs in an opening of their own nominal length leave a gap of n + 1 kerfs: each plug loses one, and
    # the opening gains one (derived).
    assert [values[f"K{n}"] for n in (1, 2, 3)] == [count + 1 for count in PLUGS]
    assert [values[f"D{n}"] for n in range(1, 8)] == list(range(1, 8))
    assert "D8" not in values
    skins = [field for field in coupon.fields if field.kind == "skin"]
    assert all(field.value == pytest.approx(6.0 - field.depth) for field in skins)
    strip = [
        Polygon(path.points).bounds for name, number, path in coupon.areas if (name, number) == ("W3", 1)
    ]
    x0, _, x1, _ = strip[0]
    assert x1 - x0 == pytest.approx(2 * 5.4 * math.tan(math.pi / 4) * 13 / 14)


def test_knives_get_the_kerf_comb_alone_and_hands_get_none() -> None:
    (one,) = coupon_jobs(build_with(plate(100, 50), 6.0, kind="knife"))
    assert {field.kind for field in one.coupon.fields} == {"kerf"}
    with pytest.raises(InputError, match="tests a laser or a knife"):
        coupon_jobs(build_with(plate(100, 50), 6.0, kind="hand"))
    with pytest.raises(InputError, match=r"eva 6 mm: a skin of 7\.00 mm leaves nothing to etch"):
        coupon_jobs(build_with(plate(100, 50), 6.0, skin=7.0))
    with pytest.raises(InputError, match="larger than the bed"):
        coupon_jobs(build_with(plate(100, 50), 6.0, bed=(150.0, 80.0)))


def test_every_file_is_written_and_right(tmp_path: Path) -> None:
    coupons = coupon_jobs(BUILD)
    written = write_coupons(BUILD, coupons, tmp_path / "out")
    assert {file.name for file in written} == {
        "coupon-eva-6mm.dxf",
        "coupon-eva-6mm.svg",
        "coupon-eva-6mm.pdf",
        "readings.csv",
    }
    assert check_coupon(tmp_path / "out", "coupon-eva-6mm.dxf") == ()
    assert coupon_files(BUILD, coupons) == {file.name: file.read_bytes() for file in written}
    rows = list(csv.DictReader(io.StringIO((tmp_path / "out" / "readings.csv").read_text("utf-8-sig"))))
    assert [row["field"] for row in rows] == [field.name for field in coupons[0].coupon.fields]
    with pytest.raises(OutputError, match="there is something in this folder"):
        write_coupons(BUILD, coupons, tmp_path / "out")


def test_the_page_is_one_and_names_every_field() -> None:
    inches = replace(BUILD, unit="in", name="Pageant: Müller's бриг")
    files = coupon_files(inches, coupon_jobs(inches))
    page = pypdfium2.PdfDocument(files["coupon-eva-0.236in.pdf"])
    assert len(page) == 1
    text = page[0].get_textpage().get_text_range()
    for word in ("K1", "K3", "D7", "S1", "W7", "readings.csv", "(in)"):
        assert word in text


def test_a_coupon_that_was_changed_is_found_out(tmp_path: Path) -> None:
    write_coupons(BUILD, coupon_jobs(BUILD), tmp_path / "out")
    file = tmp_path / "out" / "coupon-eva-6mm.dxf"
    import ezdxf

    document = ezdxf.readfile(file)
    for entity in document.modelspace().query('LWPOLYLINE[layer=="POCKET_03"]'):
        entity.dxf.layer = "POCKET_02"
    document.saveas(file)
    codes = {fault.code for fault in check_coupon(tmp_path / "out", file.name)}
    assert "pass" in codes
    assert check_coupon(tmp_path / "out", "none.dxf")[0].code == "missing-file"


def written(sign: str) -> shapely.MultiLineString:
    return shapely.MultiLineString([path.points for path in figures(sign, 0.0, 0.0, 6.0)])


@pytest.mark.parametrize("digit", "012456789")
def test_digits_read_as_themselves(digit: str) -> None:
    """Held against a printed font; the 3 is left out: its flat top makes it as much like a printed 5."""
    assert read_digit(written(digit)) == digit


@pytest.mark.parametrize(
    ("signs", "turned", "mirrored"),
    [
        ("08", (-1, 1), ""),
        ("08DK", (1, -1), ""),
        ("W", (-1, 1), ""),
        ("08S", (-1, -1), ""),
        ("6", (-1, -1), "9"),
    ],
)
def test_signs_are_as_even_as_they_are_meant(signs: str, turned: tuple[int, int], mirrored: str) -> None:
    """Left and right alike, above and below alike, the same upside down; a 9 is a 6 upside down."""
    for sign in signs:
        flipped = affinity.scale(written(sign), *turned, origin=(2.0, 3.0))
        assert flipped.symmetric_difference(written(mirrored or sign)).length < 1e-9, sign


def test_figures_know_only_what_coupons_need() -> None:
    for sign in "0123456789DKSW":
        strokes = figures(sign, 2.0, 3.0, 6.0)
        points = [tuple(point) for path in strokes for point in path.points]
        assert all(2.0 <= x <= 6.0 and 3.0 <= y <= 9.0 for x, y in points)
    with pytest.raises(ValueError, match="no stroke for 'X'"):
        figures("X", 0.0, 0.0, 4.0)
