"""Cone, wrap and ring: rolled shut from their flat outlines, and against worked examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.geometry import LineKind, Shape
from nestkit.geometry.arcs import arc_centre
from nestkit.patterns import CLOSED, Cone, Dome, Foam, Pattern, PatternError, Prism, Ring, Wrap, refold
from tests.patterns.refolding import diameter, face, roll_shut

#: Rolled in 120 flat strips instead of smoothly, a circle's diameter comes out this much off at most.
FACETS = 2e-4

INCH = 25.4


def edges(shape: Shape) -> tuple[np.ndarray, np.ndarray]:
    """The left and right seam edge of a flat piece, each from its wide end, from the outline alone."""
    rows = shape.outline.exterior.pieces()
    if not rows[:, 4].any():
        width, height = shape.outline.size
        return np.array([[0, 0], [0, height]]), np.array([[width, 0], [width, height]])
    arcs, straights = rows[rows[:, 4] != 0], rows[rows[:, 4] == 0]
    cx, cy, _ = arc_centre(*max(arcs, key=lambda row: np.hypot(row[2] - row[0], row[3] - row[1])))
    found = []
    for row in straights:
        a, b = row[:2], row[2:4]
        near, far = sorted((a, b), key=lambda p: np.hypot(p[0] - cx, p[1] - cy))
        found.append(np.array([far, near]))
    left, right = sorted(found, key=lambda edge: edge[0, 0])
    return left, right


def sector(shape: Shape) -> tuple[float, float, float]:
    """Outer and inner radius (mm) and angle (degrees) of a flat cone, from its outline."""
    rows = [row for row in shape.outline.exterior.pieces() if row[4]]
    radii = sorted({round(arc_centre(*row)[2], 6) for row in rows})
    outer = [row for row in rows if abs(arc_centre(*row)[2] - radii[-1]) < 1e-5]
    angle = sum(4.0 * math.atan(row[4]) for row in outer)
    return radii[-1], (radii[0] if len(radii) > 1 else 0.0), math.degrees(angle)


THIN = Foam(1e-9)


@pytest.mark.parametrize(
    ("lower", "upper", "height", "outer", "inner", "angle"),
    [
        # "The Net of a Frustum", ceemrr.com: 11.39, 7.12, 126.4 degrees.
        (8 * INCH, 5 * INCH, 4 * INCH, 11.392004993757 * INCH, 7.120003121098 * INCH, 126.404438971821),
        # Longfield, Sheet Metal Drafting, chapter V, sample problem 30 and problem 19 (recomputed).
        (6 * INCH, 3 * INCH, 3 * INCH, 6.708203932499 * INCH, 3.354101966250 * INCH, 160.996894379985),
        (4 * INCH, 0.0, 7 * INCH, 7.280109889281 * INCH, 0.0, 98.899606043056),
        # Derived: a 5-12-13 frustum and a 3-4-5 cone.
        (200.0, 100.0, 120.0, 260.0, 130.0, 138.461538461538),
        (120.0, 0.0, 80.0, 100.0, 0.0, 216.0),
    ],
)
def test_frustum_developments_of_handbooks(
    lower: float, upper: float, height: float, outer: float, inner: float, angle: float
) -> None:
    (piece,) = Cone(THIN, lower, upper, height).develop().pieces
    assert sector(piece.shape) == pytest.approx((outer, inner, angle), rel=1e-6)


def test_longfields_cone_by_its_slant() -> None:
    # Longfield, section 38: base 5, slant 12: 75 degrees.
    (piece,) = Cone(THIN, 5 * INCH, 0.0, slant=12 * INCH).develop().pieces
    assert sector(piece.shape) == pytest.approx((12 * INCH, 0.0, 75.0), rel=1e-6)


@settings(max_examples=12, deadline=None)
@given(
    lower=st.floats(40.0, 400.0),
    upper=st.floats(40.0, 400.0),
    height=st.floats(20.0, 300.0),
    thickness=st.sampled_from([2.0, 4.0, 6.0, 10.0]),
    neutral=st.floats(0.0, 1.0),
    sides=st.tuples(*[st.sampled_from(["inside", "outside"])] * 2),
    pieces=st.integers(1, 4),
)
def test_a_cone_rolled_shut_has_the_sizes_asked_for(
    lower: float,
    upper: float,
    height: float,
    thickness: float,
    neutral: float,
    sides: tuple[str, str],
    pieces: int,
) -> None:
    foam = Foam(thickness, neutral=neutral)
    try:
        cone = Cone(foam, lower, upper, height, lower_side=sides[0], upper_side=sides[1], pieces=pieces)  # type: ignore[arg-type]
        pattern = cone.develop()
    except PatternError as error:
        assert error.what  # noqa: PT017 - too flat, or too few pieces; the limits have tests of their own
        return
    (piece,) = pattern.pieces
    rims, gap = roll_shut(*edges(piece.shape), piece.quantity)
    assert gap <= CLOSED
    sized = {"inside": face(rims, -neutral * thickness), "outside": face(rims, (1 - neutral) * thickness)}
    found = {side: sorted(diameter(rim) for rim in np.swapaxes(of, 0, 1)) for side, of in sized.items()}
    lower_is_wide = rims_are_wide_first(lower, upper, sides, thickness)
    wide, narrow = (sides, sides[::-1])[0 if lower_is_wide else 1]
    asked = (lower, upper) if lower_is_wide else (upper, lower)
    assert found[wide][1] == pytest.approx(asked[0], abs=CLOSED, rel=FACETS)
    assert found[narrow][0] == pytest.approx(asked[1], abs=CLOSED, rel=FACETS)
    told = {measure.label: measure.value for measure in pattern.finished}
    for side, (small, large) in found.items():
        # An even tube has one size from end to end.
        ends = {"wide end": large, "narrow end": small} if "wide end outside" in told else {"tube": large}
        for end, size in ends.items():
            assert told[f"{end} {side}"] == pytest.approx(size, abs=CLOSED, rel=FACETS)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= 1e-6


@pytest.mark.parametrize(
    ("thickness", "neutral", "lower", "upper", "height", "sides"),
    [
        # The wide end is the one with the smaller size, and each step of a fixed point would overshoot.
        (10.0, 0.16, 155.73, 167.49, 3.7135, ("inside", "outside")),
        (10.0, 0.16, 167.49, 155.73, 3.7135, ("outside", "inside")),
        (10.0, 0.5, 150.0, 160.0, 2.0, ("inside", "outside")),
        (6.0, 0.5, 100.0, 120.0, 1.0, ("outside", "outside")),
    ],
)
def test_a_short_cone_has_its_sizes_too(
    thickness: float, neutral: float, lower: float, upper: float, height: float, sides: tuple[str, str]
) -> None:
    foam = Foam(thickness, neutral=neutral)
    pattern = Cone(foam, lower, upper, height, lower_side=sides[0], upper_side=sides[1]).develop()  # type: ignore[arg-type]
    (piece,) = pattern.pieces
    rims, gap = roll_shut(*edges(piece.shape), piece.quantity)
    assert gap <= CLOSED
    offs = {"inside": -neutral * thickness, "outside": (1.0 - neutral) * thickness}
    found = {
        tuple(
            round(diameter(face(rims, offs[side])[:, end]), 1) for side, end in zip(sides, ends, strict=True)
        )
        for ends in ((0, 1), (1, 0))
    }
    assert any(pair == pytest.approx((lower, upper), abs=CLOSED) for pair in found)
    assert np.ptp(rims[:, 0] @ _axis(rims) - rims[:, 1] @ _axis(rims)) <= CLOSED
    assert abs((rims[:, 0] - rims[:, 1]).mean(axis=0) @ _axis(rims)) == pytest.approx(height, abs=CLOSED)


def _axis(rims: np.ndarray) -> np.ndarray:
    """Direction of a rolled wall's axis: square to its rim."""
    spots = rims[:, 0] - rims[:-1, 0].mean(axis=0)
    return np.linalg.svd(spots)[2][2]


@pytest.mark.parametrize("upside", [False, True])
@pytest.mark.parametrize("sizes", [{"height": 80.0}, {"slant": 130.0}])
@pytest.mark.parametrize("narrow", [0.0, 60.0])
@pytest.mark.parametrize("side", ["inside", "outside"])
def test_a_bevelled_wide_end_still_goes_round_its_hardware(
    upside: bool, sizes: dict[str, float], narrow: float, side: str
) -> None:
    foam, wide = Foam(6.0), 160.4
    ends = (narrow, wide) if upside else (wide, narrow)
    pattern = Cone(foam, *ends, **sizes, lower_side=side, upper_side=side, bevel=True).develop()  # type: ignore[arg-type]
    (piece,) = pattern.pieces
    rims, gap = roll_shut(*edges(piece.shape), piece.quantity)
    assert gap <= CLOSED
    (bevel,) = [line.angle for line in piece.shape.lines if line.kind is LineKind.BEVEL]
    inside = face(rims, -3.0)
    # The bevel takes a strip of the inside away, as deep as a groove: what is left there is the opening.
    along = inside[:, 1] - inside[:, 0]
    along *= foam.depth * math.tan(bevel) / np.linalg.norm(along, axis=1)[:, None]
    opening = diameter(inside[:, 0] + along)
    finished = {measure.label: measure.value for measure in pattern.finished}
    assert opening == pytest.approx(finished["wide end inside"], rel=2.0 * FACETS)
    if side == "inside":
        assert opening == pytest.approx(wide, rel=2.0 * FACETS)
    else:
        assert diameter(face(rims, 3.0)[:, 0]) == pytest.approx(wide, rel=2.0 * FACETS)
        assert opening < diameter(inside[:, 0]) - 1.0


def rims_are_wide_first(lower: float, upper: float, sides: tuple[str, str], thickness: float) -> bool:
    """Whether the lower end is the wide one, both measured on the outside of a nearly upright wall."""
    extra = {"inside": 2.0 * thickness, "outside": 0.0}
    difference = lower + extra[sides[0]] - upper - extra[sides[1]]
    if abs(difference) < 2.0 * thickness:
        # Too close to call without the pattern's own lean: both ends are alike within the tolerance.
        return difference >= 0.0
    return difference > 0.0


@settings(max_examples=12, deadline=None)
@given(
    wide=st.floats(30.0, 400.0),
    size=st.floats(20.0, 300.0),
    by_slant=st.booleans(),
    side=st.sampled_from(["inside", "outside"]),
    upside=st.booleans(),
    neutral=st.floats(0.0, 1.0),
)
def test_a_pointed_cone_is_as_wide_and_as_high_as_asked(
    wide: float, size: float, by_slant: bool, side: str, upside: bool, neutral: float
) -> None:
    foam = Foam(4.0, neutral=neutral)
    ends = (0.0, wide) if upside else (wide, 0.0)
    # A point has no face, so that the side of its end does not matter.
    sides = {"upper_side" if not upside else "lower_side": "outside"}
    sides["lower_side" if not upside else "upper_side"] = side
    try:
        cone = Cone(foam, *ends, **{"slant" if by_slant else "height": size}, **sides)  # type: ignore[misc]
    except PatternError as error:
        # Too flat or too short for its width; the limits have tests of their own.
        assert math.atan2(wide, 2.0 * size) > math.radians(70.0) or (by_slant and size < wide / 2.0 + 4.0)
        assert error.key in ("slant", "height")  # noqa: PT017
        return
    (piece,) = cone.develop().pieces
    rims, gap = roll_shut(*edges(piece.shape), piece.quantity)
    assert gap <= CLOSED
    off = {"inside": -neutral, "outside": 1.0 - neutral}[side] * 4.0
    assert diameter(face(rims, off)[:, 0]) == pytest.approx(wide, abs=CLOSED, rel=FACETS)
    way = (rims[:, 1] - rims[:, 0]).mean(axis=0)
    long = float(np.linalg.norm(rims[:, 1] - rims[:, 0], axis=1).mean())
    assert (long if by_slant else float(np.linalg.norm(way))) == pytest.approx(size, abs=CLOSED, rel=FACETS)


@pytest.mark.parametrize(
    "pattern",
    [
        Cone(Foam(2.0), 60.0, 0.0, 900.0).develop(),
        Cone(Foam(2.0), 60.0, 12.0, 900.0, pieces=12).develop(),
        Cone(Foam(2.0), 300.0, 0.0, slant=180.0).develop(),
        Cone(Foam(2.0), 30.0, 30.0, 400.0, pieces=20).develop(),
        Dome(Foam(2.0), 100.0, "outside", 64, 1).develop(),
        Prism(Foam(2.0), 40, 90.0, 400.0).develop(),
    ],
)
def test_notches_stay_on_their_own_side_of_a_piece(pattern: Pattern) -> None:
    shape = pattern.pieces[0].shape
    marks = [shapely.LineString(line.path.points) for line in shape.lines if line.kind is LineKind.MARK]
    assert len(marks) >= 7 - (pattern.kind == "prism")
    grown = shape.outline.polygon().buffer(0.05)
    assert all(grown.covers(mark) for mark in marks)
    assert not any(a.intersects(b) for k, a in enumerate(marks) for b in marks[:k])


def test_a_flat_cone_and_a_nearly_straight_one() -> None:
    for upper in (99.0, 99.999, 100.0, 100.5):
        pattern = Cone(Foam(4.0), 100.0, upper, 80.0).develop()
        rims, gap = roll_shut(*edges(pattern.pieces[0].shape), 1)
        assert gap <= CLOSED
        assert diameter(face(rims, 2.0)[:, 0]) == pytest.approx(max(100.0, upper), abs=CLOSED)
    steep = Cone(Foam(2.0), 300.0, 40.0, slant=131.0)  # 83 degrees
    piece = steep.develop().pieces[0]
    assert piece.quantity == 2
    assert roll_shut(*edges(piece.shape), 2)[1] <= CLOSED


@pytest.mark.parametrize(
    ("sizes", "key", "words"),
    [
        ({"lower_diameter": 200, "upper_diameter": 20, "height": 2}, "height", "all but flat"),
        ({"lower_diameter": 200, "upper_diameter": 0, "slant": 99}, "slant", "too short"),
        ({"lower_diameter": 100, "upper_diameter": 2, "height": 90}, "upper_diameter", "closes on itself"),
        ({"lower_diameter": 10, "upper_diameter": 10, "height": 90}, "lower_diameter", "closes on itself"),
        ({"lower_diameter": 0, "upper_diameter": 0, "height": 90}, "lower_diameter", "both ends"),
        ({"lower_diameter": 15, "upper_diameter": 0, "height": 5000}, "lower_diameter", "too sharp"),
        ({"lower_diameter": 50, "upper_diameter": 40}, "height", "missing"),
        ({"lower_diameter": 50, "upper_diameter": 40, "height": 3, "slant": 9}, "height", "both given"),
        ({"lower_diameter": 300, "upper_diameter": 260, "slant": 20.5, "bevel": True}, "bevel", "wider than"),
        ({"lower_diameter": math.nan, "upper_diameter": 40, "height": 3}, "lower_diameter", "less than 0"),
    ],
)
def test_impossible_cones_are_refused_with_the_reason(sizes: dict[str, float], key: str, words: str) -> None:
    with pytest.raises(PatternError) as caught:
        Cone(Foam(6.0), **sizes)
    assert caught.value.key == key
    assert words in caught.value.what


def test_a_cone_that_no_sheet_holds_in_one_piece_comes_in_equal_ones() -> None:
    foam = Foam(6.0, rooms=((890.0, 490.0),))
    (piece,) = Cone(foam, 900.0, 200.0, 400.0).develop().pieces
    assert piece.quantity > 1
    assert foam.holds(piece.shape.outline)
    assert roll_shut(*edges(piece.shape), piece.quantity)[1] <= CLOSED


def test_notches_of_both_seam_edges_meet() -> None:
    (piece,) = Cone(Foam(4.0), 200.0, 80.0, 120.0).develop().pieces
    left, right = edges(piece.shape)
    marks = [line.path.points[0] for line in piece.shape.lines if line.kind is LineKind.MARK]

    def along(edge: np.ndarray) -> list[float]:
        way = (edge[1] - edge[0]) / np.hypot(*(edge[1] - edge[0]))
        spots = [spot - edge[0] for spot in marks]
        on = [s for s in spots if abs(s[0] * way[1] - s[1] * way[0]) < 1e-6]
        return sorted(round(float(s @ way), 6) for s in on)

    assert len(along(left)) == 3
    assert along(left) == along(right)
    assert piece.shape.outline.polygon().contains_properly(shapely.Point(piece.label))


def test_wrap_lengths_by_the_bend_allowance() -> None:
    # Bend allowance (Russell Consulting, bend-allowance page): angle (R + K T); here once round, K = 0.5.
    # The foam-wrap row for a 200 mm cylinder: 2, 4, 6 and 10 mm.
    for thickness, length in ((2, 634.601716), (4, 640.884901), (6, 647.168087), (10, 659.734457)):
        (piece,) = Wrap(Foam(thickness), 200.0, 200.0, 50.0).develop().pieces
        assert piece.suffix == ""
        assert piece.shape.outline.size == pytest.approx((length, 50.0), abs=1e-5)


@settings(max_examples=6, deadline=None)
@given(st.floats(20.0, 150.0), st.floats(20.0, 150.0), st.integers(1, 3), st.sampled_from([2.0, 5.0]))
def test_each_layer_of_a_wrap_lies_on_the_one_below(
    lower: float, upper: float, layers: int, thickness: float
) -> None:
    foam = Foam(thickness)
    pattern = Wrap(foam, lower, upper, 180.0, layers).develop()
    # Layers are counted from the inside.
    several = [f"layer-{number}" for number in range(1, layers + 1)]
    assert [piece.suffix for piece in pattern.pieces] == (several if layers > 1 else [""])
    below = sorted((lower, upper))
    for piece in pattern.pieces:
        rims, gap = roll_shut(*edges(piece.shape), piece.quantity)
        assert gap <= CLOSED
        inside = sorted(diameter(rim) for rim in np.swapaxes(face(rims, -thickness / 2), 0, 1))
        assert inside == pytest.approx(below, abs=CLOSED, rel=FACETS)
        below = sorted(diameter(rim) for rim in np.swapaxes(face(rims, thickness / 2), 0, 1))


def test_layers_round_a_cone_climb_by_what_is_noted() -> None:
    pattern = Wrap(Foam(5.0), 120.0, 60.0, 80.0, 2).develop()
    rims, _ = roll_shut(*edges(pattern.pieces[0].shape), pattern.pieces[0].quantity)
    # The second layer's inside begins where the first one's outside does, farther along the axis.
    step = (face(rims, 2.5) - face(rims, -2.5))[:, 0].mean(axis=0)
    upward = (rims[:, 1] - rims[:, 0]).mean(axis=0)
    climb = float(step @ upward) / np.linalg.norm(upward)
    assert f"each layer lies {climb:.2g} mm nearer to the narrow end than the one under it" in pattern.notes
    straight = Wrap(Foam(5.0), 60.0, 60.0, 80.0, 2).develop()
    assert not any("narrow end" in note for note in straight.notes)


def test_rings_fill_a_length_and_stay_round() -> None:
    pattern = Ring(Foam(10.0), 35.6, 8.4, 42.0).develop()
    (piece,) = pattern.pieces
    assert piece.quantity == 4  # 40 is nearer to 42 than 50
    assert piece.shape.outline.area == pytest.approx(math.pi * (17.8**2 - 4.2**2), rel=1e-12)
    assert piece.shape.outline.exterior.has_arcs
    assert "-2 mm" in pattern.notes[0]
    assert refold(pattern) is None
    with pytest.raises(PatternError, match="leaves no foam"):
        Ring(Foam(10.0), 25.0, 25.4)


def test_notes_name_the_narrow_end_where_there_is_one() -> None:
    blunt, pointed = (Cone(Foam(6.0), 120.0, upper, 80.0).develop().notes for upper in (60.0, 0.0))
    assert any("narrow end" in note for note in blunt)
    assert not any("narrow end" in note for note in pointed)
    assert [note for note in pointed if "point is squeezed" in note]
