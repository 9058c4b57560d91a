"""Parts of a build at a scale: sizes, units, turns, drawings found and read."""

from __future__ import annotations

import math
import os
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nestkit.build import Build, Part, sources
from nestkit.drawings import read_drawing
from nestkit.errors import InputError
from nestkit.geometry import FLATNESS, LineKind
from tests.build_bench import DRAWING, Bench

EXACT = 1e-9


def part(build: Build, name: str) -> Part:
    return next(part for part in build.parts if part.name == name)


def codes(part: Part) -> list[str]:
    return [finding.code for finding in part.findings]


def test_a_part_is_as_the_file_says(bench: Bench) -> None:
    build = bench.load(("quantity = 2", "quantity = 2\nspares = 3\nmirrored_pairs = true\nby_hand = true"))
    plate = part(build, "plate")
    assert (plate.copies, plate.spares, plate.mirrored_pairs, plate.by_hand) == (5, 3, True, True)
    assert (plate.material, plate.thickness, plate.assembly) == ("eva", 6.0, "head")
    assert plate.source == "flag.svg#plate"
    assert plate.shape.outline.bounds == pytest.approx((0, 0, 120, 60), abs=EXACT)
    assert plate.shape.outline.area == pytest.approx(120 * 60 - math.pi * 100, rel=EXACT)
    assert [line.kind for line in part(build, "sail").shape.lines] == [LineKind.MARK]
    assert part(build, "sail").copies == 1
    assert build.findings == ()
    assert all(p.findings == () for p in build.parts)


def test_defaults_are_millimetres_whatever_the_unit(bench: Bench) -> None:
    mm, inch = bench.load(), bench.load(('name = "Harbour flag"', 'name = "Harbour flag"\nunits = "in"'))
    assert (mm.gap, mm.margin) == (inch.gap, inch.margin) == (2.0, 5.0)
    assert mm.cutter.bed == (600.0, 400.0)
    assert inch.cutter.bed == (600.0 * 25.4, 400.0 * 25.4)
    assert (mm.cutter.kerf, mm.cutter.cut_speed, mm.cutter.skin) == (
        inch.cutter.kerf,
        inch.cutter.cut_speed,
        inch.cutter.skin,
    )


def test_inches_and_millimetres_give_the_same_build(bench: Bench) -> None:
    def text(unit: str, of: float) -> str:
        return f"""
build = {{ name = "b", units = "{unit}", finished = {{ part = "sail", length = {508 / of} }} }}
layout = {{ gap = {2.54 / of}, margin = {12.7 / of} }}
lines = {{ "#00aa00" = "mark" }}
sheet = [{{ name = "s", thickness = {6.35 / of}, size = [{1200 / of}, {600 / of}], price = 3 }}]
part = [{{ name = "sail", from = "flag.svg#sail", thickness = {6.35 / of} }}]
[hardware.rod]
diameter = {8 / of}
inner_diameter = {6 / of}
length = {300 / of}
[cutter]
kind = "knife"
bed = [{900 / of}, {600 / of}]
kerf = {0.2 / of}
cut_speed = {20 / of}
travel_speed = {300 / of}
mark_speed = {90 / of}
pass_depth = {1 / of}
skin = {0.5 / of}
"""

    mm, inch = bench.load_text(text("mm", 1.0)), bench.load_text(text("in", 25.4))
    assert inch.scale == pytest.approx(mm.scale, rel=EXACT)
    assert (inch.gap, inch.margin) == pytest.approx((mm.gap, mm.margin), rel=EXACT)
    for name in ("kerf", "cut_speed", "travel_speed", "mark_speed", "pass_depth", "skin", "bed"):
        assert getattr(inch.cutter, name) == pytest.approx(getattr(mm.cutter, name), rel=EXACT)
    assert inch.sheets[0].size == pytest.approx(mm.sheets[0].size, rel=EXACT)
    for name in ("diameter", "inner_diameter", "length"):
        assert getattr(inch.hardware[0], name) == pytest.approx(getattr(mm.hardware[0], name), rel=EXACT)
    ours, theirs = inch.parts[0], mm.parts[0]
    assert ours.thickness == pytest.approx(theirs.thickness, rel=EXACT)
    assert np.allclose(
        ours.shape.outline.exterior.vertices, theirs.shape.outline.exterior.vertices, atol=1e-6
    )


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(length=st.floats(1.0, 5000.0), name=st.sampled_from(["plate", "sail"]))
def test_a_finished_length_is_met(shared_bench: Bench, length: float, name: str) -> None:
    finished = f"finished = {{ part = '{name}', length = {length!r} }}"
    build = shared_bench.load(("[build]", f"[build]\n{finished}"))
    assert max(part(build, name).shape.outline.size) == pytest.approx(length, rel=EXACT)
    if name == "plate":
        assert build.scale == pytest.approx(length / 120.0, rel=EXACT)


def test_a_scale_in_the_call_counts_before_the_file(bench: Bench) -> None:
    finished = ("[build]", "[build]\nfinished = { part = 'plate', length = 240 }")
    assert bench.load(finished).scale == pytest.approx(2.0)
    assert bench.load(finished, scale=0.5).scale == 0.5
    assert bench.load(("[build]", "[build]\nscale = 3"), scale=0.5).scale == 0.5


def test_only_outlines_scale(bench: Bench) -> None:
    extra = ("[cutter]", "[hardware.rod]\ndiameter = 8\n[layout]\ngap = 3\nmargin = 7\n[cutter]\nkerf = 0.3")
    small, large = bench.load(extra), bench.load(extra, scale=2.5)
    assert part(large, "plate").shape.outline.size == pytest.approx((300.0, 150.0))
    ours, theirs = (part(build, "sail").shape.outline for build in (small, large))
    flattened = FLATNESS * (ours.cut_length * 2.5**2 + theirs.cut_length)
    assert theirs.area == pytest.approx(ours.area * 2.5**2, abs=flattened)
    for name in ("sheets", "hardware", "gap", "margin", "cutter"):
        assert getattr(small, name) == getattr(large, name)
    assert [p.thickness for p in large.parts] == [6.0, 6.0]


@pytest.mark.parametrize("scale", [0.2, 1.0, 40.0])
def test_curves_stay_within_their_tolerance_at_finished_size(bench: Bench, scale: float) -> None:
    (bench.folder / "flag.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
        '<path id="bay" d="M 0,0 H 100 C 60,40 60,60 100,100 H 0 Z"/></svg>'
    )
    build = bench.load(("flag.svg#plate", "flag.svg"), ("flag.svg#sail", "flag.svg#bay"), scale=scale)
    t = np.linspace(0, 1, 2001)[:, None]
    bay = (
        (1 - t) ** 3 * [100, 0]
        + 3 * (1 - t) ** 2 * t * [60, 40]
        + 3 * (1 - t) * t**2 * [60, 60]
        + t**3 * [100, 100]
    )
    edge = shapely.LinearRing(part(build, "sail").shape.outline.exterior.flatten(0.001))
    assert shapely.distance(edge, shapely.points(bay * scale)).max() <= 0.05


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        ('"any"', None),
        ('"none"', [0]),
        ('"half"', [0, 180]),
        ('"quarter"', [0, 90, 180, 270]),
        ("[45, -90, 0.0, 360, -315]", [0, 45, 270]),
    ],
)
def test_turns(bench: Bench, written: str, degrees: list[int] | None) -> None:
    angles = part(bench.load(("quantity = 2", f"turns = {written}")), "plate").turns.angles
    assert angles == (None if degrees is None else pytest.approx([math.radians(d) for d in degrees]))


def test_materials_and_thicknesses_of_sheets(bench: Bench) -> None:
    more = "buy = true\n[[sheet]]\nthickness = 6.004\nmaterial = ' eva'\nsize = [300, 200]".replace(
        "' eva'", "'EVA'"
    )
    build = bench.load(("buy = true", more), ("6\nquantity", "6.01\nquantity"))
    assert [(sheet.name, sheet.material, sheet.thickness) for sheet in build.sheets] == [
        ("eva 6 mm 600 x 400", "eva", 6.0),
        ("eva 6 mm 300 x 200", "eva", 6.0),
    ]
    assert [p.thickness for p in build.parts] == [6.0, 6.0]
    two = ("buy = true", "buy = true\n[[sheet]]\nthickness = 6\nmaterial = 'Felt'\nsize = [300, 200]")
    assert {str(p) for p in bench.problems(two)} == {
        f"build.toml: part[{n}] '{name}' (line {line}): sheets 6 mm thick come in several materials: "
        "'eva', 'felt'. Say which, for example material = \"eva\"."
        for n, name, line in ((1, "plate", 23), (2, "sail", 30))
    }
    with_material = bench.load(
        two,
        ("6\nquantity", "6\nmaterial = 'FELT'\nquantity"),
        ('name = "sail"', 'name = "sail"\nmaterial = "eva"'),
    )
    assert [p.material for p in with_material.parts] == ["felt", "eva"]


def test_assemblies_are_in_their_order(bench: Bench) -> None:
    heads = "order = 2\n[[assembly]]\nname = 'shaft'\n[[assembly]]\nname = 'tip'\norder = 2"
    build = bench.load(('name = "head"', f'name = "head"\n{heads}'))
    assert [(a.name, a.order) for a in build.assemblies] == [("shaft", 0), ("head", 2), ("tip", 2)]


def test_each_drawing_is_read_once(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str | None] = []
    original = read_drawing

    def counted(file: Path, name: str | None = None, tolerance: float = 0.05) -> object:
        read.append(name)
        return original(file, name, tolerance)

    monkeypatch.setattr(sources, "read_drawing", counted)
    bench.load(("[build]", "[build]\nscale = 2"))
    assert read == ["flag.svg"]


def test_drawings_may_lie_anywhere(bench: Bench, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (elsewhere / "far.svg").write_text(DRAWING)
    os.symlink(elsewhere / "far.svg", bench.folder / "link.svg")
    os.symlink(elsewhere, bench.folder / "folder")
    os.symlink(bench.folder / "loop.svg", bench.folder / "loop.svg")
    relative = os.path.relpath(elsewhere / "far.svg", bench.folder)
    for name in ("link.svg", "folder/far.svg", relative, str(elsewhere / "far.svg")):
        build = bench.load(('"flag.svg#plate"', f"'{name}#plate'"))
        assert part(build, "plate").shape.outline.size == pytest.approx((120, 60))
    assert len(bench.load(("[build]", "[build]\ndrawings = 'folder'"), ("flag.svg", "far.svg")).parts) == 2
    assert "loop.svg" in bench.problem(("flag.svg#sail", "loop.svg#sail"))
    assert "is no file" in bench.problem(("flag.svg#sail", "folder"))
    os.mkfifo(bench.folder / "pipe.svg")
    assert "is no file" in bench.problem(("flag.svg#sail", "pipe.svg"))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_an_unreadable_drawing_is_a_problem(bench: Bench) -> None:
    (bench.folder / "flag.svg").chmod(0)
    assert "read" in bench.problem()


def test_a_broken_drawing_is_told_once_for_all_its_parts(bench: Bench) -> None:
    (bench.folder / "flag.svg").write_text("<svg")
    assert bench.problem().startswith("build.toml: part[1] 'plate': from (line 21): flag.svg: ")


def _without_unit(bench: Bench, size: str = "") -> None:
    page = 'width="400mm" height="300mm"'
    assert page in DRAWING
    (bench.folder / "flag.svg").write_text(DRAWING.replace(page, size))


@pytest.mark.parametrize(
    ("unit", "mm"), [("mm", 1.0), ("cm", 10.0), ("in", 25.4), ("px", 25.4 / 96), ("pt", 25.4 / 72)]
)
@pytest.mark.parametrize("size", ["", 'width="400" height="300"'])
def test_the_build_file_names_the_unit_of_a_drawing_without_one(
    bench: Bench, unit: str, mm: float, size: str
) -> None:
    _without_unit(bench, size)
    build = bench.load(("[build]", f"[drawing_units]\n'flag.svg' = '{unit}'\n[build]"))
    assert part(build, "plate").shape.outline.size == pytest.approx((120 * mm, 60 * mm))
    assert build.findings == ()


def test_a_drawing_without_unit_is_noticed(bench: Bench) -> None:
    _without_unit(bench)
    assert [finding.code for finding in bench.load().findings] == ["unit-missing"]


def test_a_dxf_without_unit_is_in_millimetres_or_as_named(bench: Bench) -> None:
    (bench.folder / "box.dxf").write_text(
        "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n0\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nPOLYLINE\n8\n0\n66\n1\n70\n1\n"
        + "".join(f"0\nVERTEX\n8\n0\n10\n{x}\n20\n{y}\n" for x, y in [(0, 0), (12, 0), (12, 6), (0, 6)])
        + "0\nSEQEND\n0\nENDSEC\n0\nEOF\n"
    )
    in_mm = bench.load(("flag.svg#plate", "box.dxf"))
    assert part(in_mm, "plate").shape.outline.size == pytest.approx((12, 6))
    assert "unit-missing" in [finding.code for finding in in_mm.findings]
    in_feet = bench.load(
        ("flag.svg#plate", "box.dxf"), ("[build]", "[drawing_units]\n'box.dxf' = 'ft'\n[build]")
    )
    assert part(in_feet, "plate").shape.outline.size == pytest.approx((12 * 304.8, 6 * 304.8))
    assert in_feet.findings == ()


def test_rows_that_nothing_uses_are_noticed(bench: Bench) -> None:
    build = bench.load(
        ("[lines]", "[lines]\nplaet = 'cut'\n'#123456' = 'guide'"),
        ("[build]", "[drawing_units]\n'flag.svg' = 'mm'\n'flga.svg' = 'mm'\n[build]"),
        ("buy = true", "buy = false"),
    )
    assert [str(finding) for finding in build.findings] == [
        "build.toml: 'flag.svg' under [drawing_units] names its own unit, which is used.",
        "build.toml: no part is drawn in 'flga.svg', which stands under [drawing_units]."
        " Did you mean 'flag.svg'?",
        "build.toml: no drawing has a layer or group 'plaet', which stands under [lines]."
        " Did you mean 'plate'?",
        "build.toml: no drawing has a line of the colour '#123456', which stands under [lines].",
        "sheet 'eva 6 mm 600 x 400' is neither in the shop nor to be bought, so that it is never used."
        " Set in_shop, or buy = true.",
    ]


def test_folds_and_bevels_have_their_angles(bench: Bench) -> None:
    for kind in ("fold 60", "bevel 45"):
        sail = part(bench.load(('"mark"', f'"{kind}"')), "sail")
        assert [line.angle for line in sail.shape.lines] == [math.radians(float(kind.split()[1]))]


def test_doubtful_sizes_are_noticed_and_absurd_ones_refused(bench: Bench) -> None:
    assert codes(part(bench.load(scale=0.01), "plate")) == ["size-doubtful"]
    assert codes(part(bench.load(scale=100), "plate")) == ["size-doubtful"]
    assert codes(part(bench.load(scale=80), "plate")) == []
    _without_unit(bench)
    with pytest.raises(InputError, match="the most is 1000000 mm"):
        bench.load(("[build]", "[drawing_units]\n'flag.svg' = 'm'\n[build]"), scale=10)


def test_wider_gaps_are_joined_when_asked(bench: Bench) -> None:
    (bench.folder / "flag.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
        '<path id="plate" d="M 0,0.4 V 50 H 80 V 0 H 0"/><path id="sail" d="M 0,60 H 50 V 90 Z"/></svg>'
    )
    assert "open" in bench.problem()
    assert codes(part(bench.load(("[build]", "[build]\njoin = 0.5")), "plate")) == ["gap-closed"]
    inches = [("[build]", "[build]\nunits = 'in'\njoin = 0.02"), ("thickness = 6", "thickness = 0.25")]
    assert codes(part(bench.load(*inches), "plate")) == ["gap-closed"]
