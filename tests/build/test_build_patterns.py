"""Patterns in a build file: what scales and what never does, hardware, references, mistakes."""

from __future__ import annotations

import math
from dataclasses import replace

import jsonschema
import pytest

from nestkit.build import Build, Part
from nestkit.build.json_schema import build_file_schema
from nestkit.cutting.etching import fold_problems
from nestkit.patterns import Cone, Pattern
from nestkit.preparing import how_parts_are_cut
from tests.build_bench import Bench

SAIL = 'name = "sail"\nfrom = "flag.svg#sail"\nthickness = 6\n'
HARDWARE = "[hardware.rod]\ndiameter = 8\nlength = 90\n[hardware.tube]\ndiameter = 40\ninner_diameter = 36\n"


def swapped(text: str) -> tuple[str, str]:
    """The sail replaced by another part; hardware goes to the file's end."""
    return SAIL, f"{text}\n{HARDWARE}"


def ring(more: str) -> tuple[str, str]:
    return swapped(f'name = "r"\npattern = "ring"\nthickness = 6\n{more}')


def in_inches(text: str) -> tuple[tuple[str, str], ...]:
    """A build in inches with another part in place of the sail."""
    unit = ('name = "Harbour flag"', 'name = "Harbour flag"\nunits = "in"')
    sizes = ("thickness = 6\nsize = [600, 400]", "thickness = 0.25\nsize = [24, 16]")
    plate = ("thickness = 6\nquantity = 2", "thickness = 0.25")
    return unit, ("bed = [600, 400]", "bed = [24, 16]"), (SAIL, text), sizes, plate


def made(build: Build, owner: str) -> list[Part]:
    return [part for part in build.parts if part.pattern is not None and part.pattern.owner == owner]


def finished(part: Part) -> dict[str, float]:
    assert part.pattern is not None
    return {what: value for what, value, _ in part.pattern.finished}


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.0])
def test_sizes_scale_and_thickness_and_hardware_do_not(bench: Bench, scale: float) -> None:
    cone = (
        'name = "c"\npattern = "cone"\nlower_diameter = 120\nupper_diameter = "rod"\nheight = 50\nfit = 0.4'
    )
    (part,) = made(bench.load(swapped(f"{cone}\nthickness = 6"), scale=scale), "c")
    sizes = finished(part)
    assert sizes["wide end outside"] == pytest.approx(120.0 * scale)
    assert sizes["narrow end inside"] == pytest.approx(8.4)
    assert sizes["height"] == pytest.approx(50.0 * scale)
    assert part.thickness == 6.0


def test_a_ring_between_two_pieces_of_hardware_never_scales(bench: Bench) -> None:
    change = ring('outer_diameter = "tube"\ninner_diameter = "rod"\nfit = 0.4\nlength = "rod"')
    for scale in (0.5, 1.0, 3.0):
        (part,) = made(bench.load(change, scale=scale), "r")
        assert part.shape.outline.size == pytest.approx((35.6, 35.6))
        assert part.copies == 15


def test_how_many_rings_and_layers_follows_the_scaled_length(bench: Bench) -> None:
    change = ring("outer_diameter = 50\nlength = 30\nquantity = 2\nspares = 1")
    for scale, count in ((0.5, 3), (1.0, 5), (2.0, 10)):
        (part,) = made(bench.load(change, scale=scale), "r")
        assert (part.copies, part.spares) == (3 * count, count)
    stack = swapped('name = "s"\npattern = "stack"\nfrom = "flag.svg#plate"\nheight = 24\nthickness = 6')
    for scale, count in ((0.5, 2), (1.0, 4), (1.5, 6)):
        (part,) = made(bench.load(stack, scale=scale), "s")
        assert part.copies == count
        assert part.shape.outline.size == pytest.approx((120 * scale, 60 * scale))


@pytest.mark.parametrize("scale", [0.7, 1.0, 1.2])
def test_places_scale_with_the_drawing(bench: Bench, scale: float) -> None:
    stack = 'name = "s"\npattern = "stack"\nfrom = "flag.svg#plate"\nheight = 24\nthickness = 6\n'
    change = swapped(stack + 'opening = "rod"\nopening_at = [90, 20]\nopen_layers = "all"')
    (part,) = made(bench.load(change, scale=scale), "s")
    x0, y0, x1, y1 = part.shape.outline.holes[-1].bounds
    assert ((x0 + x1) / 2.0, (y0 + y1) / 2.0) == pytest.approx((90.0 * scale, 20.0 * scale))
    assert x1 - x0 == pytest.approx(8.0)
    box = 'name = "b"\npattern = "box"\nwidth = 300\ndepth = 300\nheight = 400\nthickness = 6\n'
    change = swapped(box + 'windows = [{ from = "flag.svg#sail", panels = [1], at = [110, 180] }]')
    (part,) = [part for part in made(bench.load(change, scale=scale), "b") if part.shape.outline.holes]
    x0, y0, x1, y1 = part.shape.outline.holes[0].bounds
    # Inside up, the first panel's left edge is the strip's right one.
    right = part.shape.outline.size[0]
    assert (right - (x0 + x1) / 2.0, (y0 + y1) / 2.0) == pytest.approx((110.0 * scale, 180.0 * scale))
    strip = 'name = "e"\npattern = "edge_strip"\naround = "plate"\nthickness = 6\nstart = [30, -5]'
    (part,) = made(bench.load(swapped(strip), scale=scale), "e")
    folds = [float(line.path.points[0, 0]) for line in part.shape.lines if line.kind == "fold"]
    assert min(folds) == pytest.approx(90.0 * scale + 5.4)


def test_a_pattern_that_one_bed_cant_hold_comes_in_pieces_that_leave_its_margins_free(bench: Bench) -> None:
    cone = 'name = "c"\npattern = "cone"\nlower_diameter = 186\nupper_diameter = 186\nthickness = 6\n'
    # 180 pi = 565.5 mm of neutral fibre; 600 x 400 mm of sheet and bed less two margins.
    for margin, height, count in ((5, 340, 1), (17, 340, 1), (18, 340, 2), (18, 40, 1)):
        layout = ("[cutter]", f"[layout]\nmargin = {margin}\n\n[cutter]\nkerf = 0")
        build = bench.load(layout, swapped(f"{cone}height = {height}"))
        (part,) = made(build, "c")
        assert part.copies == count
        # The low one lies aslant, and planning agrees.
        assert how_parts_are_cut(build)["c"] == "laser"


def test_what_a_pattern_says_of_its_room_is_what_planning_does(bench: Bench) -> None:
    """A sheet of 600 x 400 on a bed of 200 x 150: what the bed can't hold is cut by hand, or not at all."""
    bed = ("bed = [600, 400]", "bed = [200, 150]")
    cone = 'name = "c"\npattern = "cone"\nthickness = 6\nlower_diameter = 120\nupper_diameter = 80\n'
    for more, how, words in (
        ("height = 100", "laser", "equal pieces go round"),
        ("height = 300", "hand", "cut by hand from a whole sheet"),
        ("height = 300\npieces = 3", "hand", "cut by hand from a whole sheet"),
        ("height = 100\npieces = 1", "hand", "for pieces that the cutter holds"),
        ("height = 800", None, "no sheet holds its piece, however many go round"),
    ):
        build = bench.load(bed, swapped(f"{cone}{more}"))
        (part,) = made(build, "c")
        assert how_parts_are_cut(build)["c"] == how
        assert words in "; ".join(part.pattern.notes)
        assert ("no sheet" in "; ".join(part.pattern.notes)) == (how is None)


def test_folds_keep_their_angle_at_every_scale(bench: Bench) -> None:
    change = swapped(
        'name = "p"\npattern = "prism"\npanels = 6\nacross_flats = 100\nheight = 60\nthickness = 6'
    )
    for scale in (0.8, 1.0, 1.6):
        (part,) = made(bench.load(change, scale=scale), "p")
        folds = [line.angle for line in part.shape.lines if line.kind == "fold"]
        assert folds == pytest.approx([math.pi / 3.0] * 5)
        assert finished(part)["across flats outside"] == pytest.approx(100.0 * scale)


def test_a_pattern_takes_the_skin_and_kerf_of_its_foam(bench: Bench) -> None:
    prism = 'name = "p"\npattern = "prism"\npanels = 6\nacross_flats = 100\nheight = 60\nthickness = 6\n'
    widths = {}
    for skin in (None, 0.6, 1.4):
        own = "" if skin is None else f"[[foam]]\nthickness = 6\nskin = {skin}\n"
        (part,) = made(bench.load(swapped(prism + own)), "p")
        widths[skin] = part.shape.outline.size[0]
    assert widths[None] == widths[0.6]
    # The outside stays; the lines lie on a hexagon that is 0.8 mm nearer to the axis on each side.
    assert widths[0.6] - widths[1.4] == pytest.approx(6 * 2 * 0.8 * math.tan(math.pi / 6), abs=1e-6)


def test_the_pieces_of_a_pattern_count_as_one_part_in_messages(bench: Bench) -> None:
    prism = (
        'name = "p"\npattern = "prism"\npanels = 6\nacross_flats = 100\nheight = 60\nlids = 1\n'
        "thickness = 6\n"
    )
    other = '[[part]]\nname = "b"\npattern = "box"\nwidth = 50\ndepth = 40\nheight = 30\nthickness = 6\n'
    steep = "[[foam]]\nthickness = 6\nfalloff = 0.3\n"
    build = bench.load(swapped(prism + other + steep))
    assert [build.number_of(part) for part in build.parts] == [1, 2, 2, 3]
    told = {problem.where.partition(": fold")[0].partition(": bevel")[0] for problem in fold_problems(build)}
    assert told == {"build.toml: part[2] 'p-panels'", "build.toml: part[3] 'b'"}


def test_an_edge_strip_goes_round_another_part_and_is_as_wide_as_it_is_thick(bench: Bench) -> None:
    change = swapped('name = "e"\npattern = "edge_strip"\naround = "plate"\nthickness = 6')
    for scale in (1.0, 1.5):
        (part,) = made(bench.load(change, scale=scale), "e")
        # 8 grooves' worth of 5.4 mm at four square corners; the skin is 0.6 mm.
        assert part.shape.outline.size == pytest.approx((360.0 * scale + 8 * 5.4, 6.0))
        assert part.pattern is not None
        assert part.pattern.gap == pytest.approx(0.0, abs=1e-6)


def test_an_edge_strip_lines_the_openings_of_a_part(bench: Bench) -> None:
    change = swapped('name = "e"\npattern = "edge_strip"\naround = "plate"\nedge = "inner"\nthickness = 6')
    for scale in (1.0, 1.5):
        (part,) = made(bench.load(change, scale=scale), "e")
        # The plate's hole has a radius of 10 mm; half the foam's thickness lies within it.
        assert part.shape.outline.size == pytest.approx((math.tau * (10.0 * scale - 3.0), 6.0), abs=1e-3)
    drawn = 'name = "e"\npattern = "edge_strip"\nfrom = "flag.svg#sail"\nwidth = 9\nthickness = 2\nedge = '
    thin = "\n[[sheet]]\nthickness = 2\nsize = [900, 300]\n"
    lengths = [
        made(bench.load(swapped(f'{drawn}"{edge}"{thin}')), "e")[0].shape.outline.size[0]
        for edge in ("outer", "inner")
    ]
    assert lengths[0] > lengths[1] + 2.0 * math.pi
    no_hole = ring(
        'outer_diameter = 60\n[[part]]\nname = "e"\npattern = "edge_strip"\naround = "r"\n'
        'edge = "inner"\nthickness = 6'
    )
    assert "edge (line 35): 'r' has no opening" in bench.problem(no_hole)


def test_a_lining_is_as_wide_as_the_open_layers_are_thick(bench: Bench) -> None:
    stack = (
        'name = "s"\npattern = "stack"\nfrom = "flag.svg#sail"\nheight = 30\nthickness = 6\n'
        'opening = "tube"\n'
        '[[part]]\nname = "e"\npattern = "edge_strip"\naround = "s"\nthickness = 6\nedge = "inner"'
    )
    (part,) = made(bench.load(swapped(stack)), "e")
    assert part.shape.outline.size == pytest.approx((math.tau * 17.0, 18.0), abs=1e-3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            'pattern = "ring"\nouter_diameter = 1\ninner_diameter = 0.99',
            "0.99 in inside and 1 in outside make a wall of 0.005 in",
        ),
        (
            'pattern = "cone"\nlower_diameter = 0.4\nupper_diameter = 0.4\nheight = 3',
            "the wall is 0.25 in thick",
        ),
        (
            'pattern = "cone"\nlower_diameter = 9\nupper_diameter = 1\nslant = 2',
            "2 in is too short: the wall has to go 4 in outwards",
        ),
        ('pattern = "box"\nwidth = 0.4\ndepth = 4\nheight = 3', "leaves nothing hollow in 0.4 in"),
        ('pattern = "dome"\ndiameter = 0.4', "0.25 in of foam leaves nothing hollow in 0.4 in"),
        (
            'pattern = "pyramid"\nacross_flats = 2\nheight = 0.1',
            "0.25 in of foam at this lean leaves nothing hollow in 2 in",
        ),
        ('pattern = "edge_strip"\naround = "plate"\nwidth = 90', "no sheet or bed is 90 in wide"),
    ],
)
def test_messages_about_patterns_speak_the_builds_unit(bench: Bench, text: str, words: str) -> None:
    problem = bench.problem(*in_inches(f'name = "x"\n{text}\nthickness = 0.25'))
    assert words in problem
    assert "mm" not in problem


def test_notes_on_patterns_speak_the_builds_unit(bench: Bench) -> None:
    rings = 'name = "r"\npattern = "ring"\nouter_diameter = 2\nlength = 1.1\nthickness = 0.25'
    (part,) = made(bench.load(*in_inches(rings)), "r")
    assert part.pattern is not None
    assert part.pattern.notes == ("4 rings reach 1 in, -0.1 in off what was asked",)


def test_a_pyramid_scales_and_goes_over_hardware(bench: Bench) -> None:
    spike = 'name = "s"\npattern = "pyramid"\nthickness = 6\nheight = 60\n'
    double = ('name = "Harbour flag"', 'name = "Harbour flag"\nscale = 2')
    (part,) = made(bench.load(double, swapped(f"{spike}across_flats = 50\nsides = 6\nquantity = 2")), "s")
    assert finished(part)["across flats outside"] == pytest.approx(100.0)
    assert finished(part)["height outside"] == pytest.approx(120.0)
    assert part.copies == 12
    (part,) = made(bench.load(double, swapped(f'{spike}across_flats = "tube"\nfit = 1')), "s")
    assert finished(part)["across flats inside"] == pytest.approx(41.0)
    mirrored = swapped(f"{spike}across_flats = 50\nquantity = 2\nmirrored_pairs = true")
    assert "each of its pieces is its own mirror image" in bench.problem(mirrored)


def test_several_pieces_become_parts_with_names_of_their_own(bench: Bench) -> None:
    change = swapped(
        'name = "d"\npattern = "dome"\ndiameter = 120\ngores = 6\nto_latitude = 60\ncap = true\n'
        'thickness = 6\nquantity = 2\nassembly = "head"'
    )
    parts = {part.name: part for part in made(bench.load(change), "d")}
    assert {name: part.copies for name, part in parts.items()} == {"d-gore": 12, "d-cap": 2}
    assert {part.assembly for part in parts.values()} == {"head"}
    problem = bench.problem(('name = "plate"', 'name = "d-cap"'), change)
    assert "'d-cap' is what a piece of 'd' is called" in problem


def test_a_window_is_drawn(bench: Bench) -> None:
    box = 'name = "b"\npattern = "box"\nwidth = 100\ndepth = 80\nheight = 70\nthickness = 6\n'
    good = 'windows = [{ from = "flag.svg#seam", panels = [1] }]'
    assert "names no closed outline" in bench.problem(swapped(box + good))
    large = 'windows = [{ from = "flag.svg#plate", panels = [1] }]'
    assert "reaches over the edge" in bench.problem(swapped(box + large))


def test_flat_pieces_that_would_gape_are_an_error(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    honest = Cone.develop

    def cut_short(cone: Cone) -> Pattern:
        """As the pattern would be if its development were wrong: one piece in four is lost."""
        (piece,), (closing,) = (pattern := honest(cone)).pieces, pattern.closings
        return replace(pattern, closings=(replace(closing, count=3),), pieces=(replace(piece, quantity=3),))

    cone = 'name = "c"\npattern = "cone"\nlower_diameter = 120\nupper_diameter = 60\nheight = 50\npieces = 4'
    change = swapped(f"{cone}\nthickness = 6")
    assert bench.load(change).parts[-1].pattern is not None
    monkeypatch.setattr(Cone, "develop", cut_short)
    problem = bench.problem(change)
    assert problem.startswith("build.toml: part[2] 'c': pattern (line")
    assert "would leave a gap of" in problem


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            'pattern = "ring"\nouter_diametr = 50',
            "unknown key 'outer_diametr'. Did you mean 'outer_diameter'?",
        ),
        ('pattern = "ring"\nouter_diameter = "rob"', "there is no hardware 'rob'. Did you mean 'rod'?"),
        ('pattern = "ring"\nouter_diameter = "rod"', "hardware 'rod' has no inner_diameter"),
        (
            'pattern = "ring"\nouter_diameter = true',
            "must be a length from 0 to 100000, or the name of a piece",
        ),
        ('pattern = "ring"\nouter_diameter = 8\ninner_diameter = "rod"', "leaves no foam"),
        ('pattern = "cone"\nlower_diameter = 90\nupper_diameter = 40', "height (line"),
        ('pattern = "cone"\nheight = 90', "lower_diameter (line"),
        ('pattern = "cone"\nlower_diameter = 90\nheight = 20\nneutral = 2', "is too large; the most is 1"),
        ('pattern = "edge_strip"\naround = "plat"', "there is no part 'plat'. Did you mean 'plate'?"),
        ('pattern = "edge_strip"', "what it goes round is not clear"),
        (
            'pattern = "edge_strip"\naround = "plate"\nstart = "middle"',
            "must be 'top', 'bottom', 'left', 'right'",
        ),
        ('pattern = "edge_strip"\naround = "x"', "around (line 29): it is to go round itself"),
        ('pattern = "wrap"\naround = 0\nheight = 40', "around (line 29): the tube has the diameter 0"),
        (
            'pattern = "ring"\nouter_diameter = 50\nquantity = 2\nmirrored_pairs = true',
            "its own mirror image",
        ),
        (
            'pattern = "box"\nwidth = 50\ndepth = 40\nheight = 30\nquantity = 2\nmirrored_pairs = true',
            "mirrored_pairs (line 33): each of its pieces is its own mirror image",
        ),
        (
            'pattern = "ridge"\nfrom = "flag.svg#plate"\ncentre_line = "flag.svg#plate"\npeak = 3',
            "that holds an open line",
        ),
        ('pattern = "wrap"\nheight = 40', "what it goes round is not clear"),
        ('pattern = "ridge"\nfrom = "flag.svg#plate"\ncentre_line = "flag.svg#gone"\npeak = 3', "'gone'"),
        ('pattern = "conus"', "there is no pattern 'conus'"),
    ],
)
def test_mistakes_are_told_in_a_makers_words(bench: Bench, text: str, words: str) -> None:
    problem = bench.problem(swapped(f'name = "x"\n{text}\nthickness = 6'))
    assert words in problem
    assert problem.startswith("build.toml: part[2]")


def test_a_finished_length_is_of_a_drawn_part(bench: Bench) -> None:
    problem = bench.problem(
        ring("outer_diameter = 50"), ("[build]", "[build]\nfinished = { part = 'r', length = 90 }")
    )
    assert "'r' is a pattern, which has no drawn length" in problem


def test_editors_know_patterns_too() -> None:
    schema = jsonschema.Draft202012Validator(build_file_schema())
    part = {"name": "r", "pattern": "ring", "outer_diameter": "tube", "thickness": 6}
    rest = {"build": {"name": "b"}, "cutter": {"kind": "hand"}, "sheet": [{"thickness": 6, "size": [9, 9]}]}
    assert schema.is_valid(rest | {"part": [part]})
    assert not schema.is_valid(rest | {"part": [part | {"height": 3}]})
    assert not schema.is_valid(rest | {"part": [part | {"pattern": "conus"}]})
