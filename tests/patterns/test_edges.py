"""Edge strip, ridge and stack: laid round, closed to a peak and piled up again."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nestkit.geometry import LineKind, Outline, Path, Shape
from nestkit.patterns import CLOSED, EdgeStrip, Foam, PatternError, Ridge, Stack, line_openings, refold
from tests.patterns.refolding import folded_points, plan_of_strip, same_shape, seen_from
from tests.strategies import rounded_rectangles, star_points

L_SHAPE = [(0, 0), (120, 0), (120, 40), (40, 40), (40, 100), (0, 100)]


def strip_lines(pattern: object, kind: LineKind) -> list[tuple[float, float]]:
    """Places along the whole strip, and angles, of the lines of a kind that run right across it."""
    found, begin = [], 0.0
    for piece in pattern.pieces:  # type: ignore[attr-defined]
        height = piece.shape.outline.size[1]
        for line in piece.shape.lines:
            if line.kind is kind and line.path.length > height - 1e-9:
                found.append((begin + float(line.path.points[0, 0]), line.angle))
        begin += piece.shape.outline.size[0]
    return sorted(found)


def flat_length(pattern: object) -> float:
    return sum(piece.shape.outline.size[0] for piece in pattern.pieces)  # type: ignore[attr-defined]


def exterior_angles(polygon: Polygon) -> np.ndarray:
    corners = shapely.get_coordinates(polygon.exterior)[:-1]
    ways = np.roll(corners, -1, axis=0) - corners
    turns = np.diff(np.arctan2(ways[:, 1], ways[:, 0]), prepend=np.arctan2(*ways[-1, ::-1]))
    return (turns + math.pi) % math.tau - math.pi


def is_foldable(polygon: Polygon) -> bool:
    """Whether every turn is a corner, and none too sharp for a strip."""
    angles = np.abs(exterior_angles(polygon))
    ways = polygon.is_valid and polygon.exterior.is_ccw
    return bool(ways and (angles > math.radians(21)).all() and (angles < math.radians(150)).all())


@settings(max_examples=60, deadline=None)
@given(star_points(low=60.0, high=200.0, most=8), st.sampled_from([2.0, 4.0, 6.0]))
def test_without_curves_its_length_is_that_of_the_mitred_offset(points: np.ndarray, thickness: float) -> None:
    # The referee is shapely's mitred offset by the groove's depth.
    polygon = Polygon(points)
    assume(is_foldable(polygon))
    foam = Foam(thickness)
    referee = polygon.buffer(foam.depth, join_style="mitre", mitre_limit=1000)
    # A hollow so tight that the strip fills it up has fewer corners outside, and no strip goes into it.
    for grown in (referee, polygon.buffer(thickness, join_style="mitre", mitre_limit=1000)):
        assume(len(grown.exterior.coords) == len(polygon.exterior.coords) and not grown.interiors)
    pattern = EdgeStrip(foam, Path.polyline(points, True), 20.0).develop()
    assert flat_length(pattern) == pytest.approx(referee.length, abs=1e-6)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= 1e-6


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 8), st.floats(40.0, 150.0), st.floats(1.0, 2.0), st.sampled_from([2.0, 6.0]))
def test_folded_back_its_inside_is_the_outline(
    sides: int, radius: float, wider: float, thickness: float
) -> None:
    turns = math.tau * np.arange(sides) / sides
    points = np.column_stack((wider * radius * np.cos(turns), radius * np.sin(turns)))
    foam, outline = Foam(thickness), Polygon(points)
    assume(bool((exterior_angles(outline) > math.radians(21)).all()))
    assume(bool((exterior_angles(outline) < math.radians(155)).all()))
    pattern = EdgeStrip(foam, Path.polyline(points, True), 15.0).develop()
    folds = strip_lines(pattern, LineKind.FOLD)
    hinges = plan_of_strip([0.0, *(at for at, _ in folds), flat_length(pattern)], [a for _, a in folds])
    seam = shapely.get_coordinates(hinges.exterior)
    ends = np.hypot(*(seam[0] - seam[-2]))
    assert ends <= CLOSED
    # The inside face lies a groove's depth inside the line of the hinges.
    # The seam's ends, which lie on a straight side, are taken out: they leave a tiny spike in GEOS's offset.
    inside = hinges.buffer(0).simplify(1e-6).buffer(-foam.depth, join_style="mitre", mitre_limit=1000)
    assert inside.area == pytest.approx(outline.area, rel=1e-6)
    assert inside.length == pytest.approx(outline.length, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(rounded_rectangles(), st.floats(0.0, 1.0))
def test_curves_keep_the_length_of_the_neutral_fibre(
    sizes: tuple[float, float, float], neutral: float
) -> None:
    width, height, radius = sizes
    b = math.tan(math.pi / 8)
    rows = [
        (radius, 0, 0), (width - radius, 0, b), (width, radius, 0), (width, height - radius, b),
        (width - radius, height, 0), (radius, height, b), (0, height - radius, 0), (0, radius, b),
    ]  # fmt: skip
    pattern = EdgeStrip(Foam(4.0, neutral=neutral), Path(np.array(rows), True), 10.0).develop()
    # A convex outline grown by d is longer by 2 pi d (Steiner).
    straight = 2.0 * (width + height - 4.0 * radius)
    assert flat_length(pattern) == pytest.approx(straight + math.tau * (radius + neutral * 4.0), abs=1e-6)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= CLOSED


def test_a_flattened_curve_is_as_long_as_the_curve() -> None:
    foam, circle = Foam(6.0), Path.circle(0.0, 0.0, 80.0)
    flat = Path.polyline(circle.flatten(0.01), True)
    lengths = [flat_length(EdgeStrip(foam, path, 20.0).develop()) for path in (circle, flat)]
    assert lengths[0] == pytest.approx(math.tau * 83.0, abs=1e-9)
    assert lengths[1] == pytest.approx(lengths[0], abs=CLOSED)


def test_hollow_corners_are_creased_or_split() -> None:
    path = Path.polyline(L_SHAPE, True)
    creased = EdgeStrip(Foam(6.0), path, 20.0).develop()
    assert len(strip_lines(creased, LineKind.FOLD)) == 5
    assert len(strip_lines(creased, LineKind.MARK)) == 1
    split = EdgeStrip(Foam(6.0), path, 20.0, hollow="split", start=(0.0, 0.0)).develop()
    assert [piece.suffix for piece in split.pieces] == ["strip-1", "strip-2"]
    # Split ends reach into the corner on the inside: D tan(45) more on both sides than creased.
    assert flat_length(split) == pytest.approx(flat_length(creased) + 2.0 * 5.4)
    bevels = strip_lines(split, LineKind.BEVEL)
    assert [(round(at, 6), round(math.degrees(a), 6)) for at, a in bevels] == [
        (0.0, 45.0),
        (round(flat_length(split), 6), 45.0),
    ]


def test_slit_at_its_marks_down_to_the_skin_a_strip_lies_in_its_hollow_corners() -> None:
    foam, outline = Foam(6.0, skin=0.8), Polygon(L_SHAPE)
    pattern = EdgeStrip(foam, Path.polyline(L_SHAPE, True), 20.0).develop()
    folds = strip_lines(pattern, LineKind.FOLD)
    slits = [(at, -math.pi / 2.0) for at, _ in strip_lines(pattern, LineKind.MARK)]
    bends = sorted(folds + slits)
    hinges = plan_of_strip([0.0, *(at for at, _ in bends), flat_length(pattern)], [a for _, a in bends])
    # All hinges are as deep under the face that carries folds and marks; that face lies on the outline.
    face = hinges.buffer(0).simplify(1e-6).buffer(-foam.depth, join_style="mitre", mitre_limit=1000)
    assert same_shape(face, outline) <= CLOSED
    (note,) = pattern.notes
    assert "slit the strip there from its inside" in note
    assert "5.2 mm deep" in note
    assert "0.8 mm of skin" in note
    # A seam there has two ends, which reach into the corner and are mitred.
    seam = EdgeStrip(foam, Path.polyline(L_SHAPE, True), 20.0, start=(40.0, 40.0)).develop()
    assert flat_length(seam) == pytest.approx(flat_length(pattern) + 2.0 * foam.depth)
    assert seam.notes == ("at split corners thin both ends by 45.0 degrees on their outside by hand",)


def test_a_strip_wider_than_any_room_is_refused() -> None:
    foam = Foam(6.0, rooms=((25.0, 20.0), (28.0, 10.0)))
    with pytest.raises(PatternError, match="no sheet or bed is 30 mm wide"):
        EdgeStrip(foam, Path.rectangle(80.0, 50.0), 30.0)
    with pytest.raises(PatternError) as caught:
        EdgeStrip(foam, Path.rectangle(80.0, 50.0), 28.5)
    assert caught.value.key == "width"


def test_a_strip_longer_than_the_bed_is_joined_away_from_corners() -> None:
    foam = Foam(6.0, rooms=((300.0, 200.0),))
    for length in np.linspace(300.0, 700.0, 41):
        path = Path.polyline([(0, 0), (length, 0), (length, 150), (0, 150)], True)
        pattern = EdgeStrip(foam, path, 20.0).develop()
        folds = [at for at, _ in strip_lines(pattern, LineKind.FOLD)]
        ends = np.cumsum([piece.shape.outline.size[0] for piece in pattern.pieces])
        assert all(foam.holds(piece.shape.outline) for piece in pattern.pieces)
        assert min(abs(end - fold) for end in [0.0, *ends] for fold in folds) >= 2.0 * foam.thickness
        assert len(folds) == 4


@pytest.mark.parametrize(
    ("start", "spot"),
    [("bottom", (50, 0)), ("right", (100, 40)), ("top", (50, 80)), ("left", (0, 40)), ((30, -5), (30, 0))],
)
def test_the_seam_lies_where_it_is_asked_for(start: object, spot: tuple[float, float]) -> None:
    path = Path.polyline([(0, 0), (100, 0), (100, 80), (0, 80)], True)
    (closing,) = EdgeStrip(Foam(4.0), path, 20.0, start=start).develop().closings  # type: ignore[arg-type]
    assert closing.outline.start == pytest.approx(spot)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(0, 0), (200, 4), (0, 8)], "spike at (200.0, 4.0)"),
        ([(0, 0), (100, 0), (100, 50), (52, 50), (52, 20), (48, 20), (48, 50), (0, 50)], "too narrow"),
    ],
)
def test_outlines_that_no_strip_goes_round_are_refused(points: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(PatternError) as caught:
        EdgeStrip(Foam(6.0), Path.polyline(points, True), 20.0)
    assert words in caught.value.what


def notched(mouth: float, bottom: float) -> Path:
    """A plate with a hollow in its upper side."""
    m, b = mouth / 2.0, bottom / 2.0
    ring = [(-80, 0), (80, 0), (80, 60), (m, 60), (b, 20), (-b, 20), (-m, 60), (-80, 60)]
    return Path.polyline(ring, True)


@pytest.mark.parametrize("hollow", ["crease", "split"])
@pytest.mark.parametrize("thickness", [2.0, 6.0, 10.0])
@pytest.mark.parametrize("wider", [0.0, 9.0])
def test_a_slot_has_to_hold_the_strip_on_both_of_its_walls(
    hollow: str, thickness: float, wider: float
) -> None:
    for room in (0.01, 0.9, 1.5, 1.95, 2.05 if wider == 0.0 else 2.3, 3.0):
        path = notched(room * thickness, room * thickness + wider)
        strip = {"hollow": hollow, "start": "bottom"}
        if room > 2.0:
            assert EdgeStrip(Foam(thickness), path, 20.0, **strip)  # type: ignore[arg-type]
            continue
        with pytest.raises(PatternError, match="too narrow") as caught:
            EdgeStrip(Foam(thickness), path, 20.0, **strip)  # type: ignore[arg-type]
        assert "splitting the strip makes no room" in caught.value.todo
    with pytest.raises(PatternError, match="too narrow"):
        EdgeStrip(Foam(thickness), notched(40.0, 0.5), 20.0, **strip)  # type: ignore[arg-type]


def test_a_hollow_curve_tighter_than_the_foam_is_refused() -> None:
    rows = [(0, 0, 0), (100, 0, 0), (100, 50, 0), (54, 50, -1.0), (46, 50, 0), (0, 50, 0)]
    with pytest.raises(PatternError, match="radius of 4"):
        EdgeStrip(Foam(6.0), Path(np.array(rows), True), 20.0)


def test_the_ends_of_curves_and_of_joined_strips_are_notched() -> None:
    rows = [(0, 0, 0), (100, 0, 1.0), (100, 60, 0), (0, 60, 0)]
    foam = Foam(4.0, rooms=((140.0, 90.0),))
    pattern = EdgeStrip(foam, Path(np.array(rows), True), 24.0, start=(40.0, 0.0)).develop()
    ends = np.cumsum([0.0, *(piece.shape.outline.size[0] for piece in pattern.pieces)])
    notches = {
        (round(float(begin + line.path.points[0, 0]), 6), round(float(line.path.points[0, 1]), 6))
        for begin, piece in zip(ends, pattern.pieces, strict=False)
        for line in piece.shape.lines
        if line.kind is LineKind.MARK
    }
    # 60 mm to the half circle, whose neutral fibre has a radius of 32 mm; joins and seam in their third.
    joins = {(round(float(end), 6), 8.0) for end in ends}
    assert len(joins) == 4
    assert notches == joins | {(60.0, 0.0), (round(60.0 + 32.0 * math.pi, 6), 0.0)}


@pytest.mark.parametrize("inner", [False, True])
@pytest.mark.parametrize("neutral", [0.0, 0.3, 1.0])
def test_the_neutral_fibre_is_told_from_the_inside_of_each_bend(inner: bool, neutral: float) -> None:
    # A plate whose upper side has a half round hollow of radius 30 between two half round ends of radius 20.
    b = math.tan(math.pi / 4)
    rows = [(0, 0, 0), (100, 0, b), (100, 40, 0), (80, 40, -b), (20, 40, 0), (0, 40, b)]
    path = Path(np.array(rows), True)
    strip = EdgeStrip(Foam(4.0, neutral=neutral), path, 10.0, start="bottom", inner=inner)
    side = -1.0 if inner else 1.0
    # The ends are bent with the body, or the opening, inside; the hollow the other way.
    ends = math.tau * (20.0 + side * 4.0 * ((1.0 - neutral) if inner else neutral))
    hollow = math.pi * (30.0 - side * 4.0 * (neutral if inner else (1.0 - neutral)))
    # Two square corners at the hollow's rim; the groove is 3.4 mm deep, the skin 0.6 mm.
    corners = side * 4.0 * (0.6 if inner else 3.4)
    straight = 100.0 + 20.0 + 20.0
    assert flat_length(strip.develop()) == pytest.approx(straight + ends + hollow + corners, abs=1e-6)
    closed = refold(strip.develop())
    assert closed is not None
    assert closed.gap <= CLOSED


# --- openings --------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(star_points(low=60.0, high=200.0, most=8), st.sampled_from([2.0, 4.0, 6.0]))
def test_folded_back_a_lining_fills_its_opening(points: np.ndarray, thickness: float) -> None:
    polygon = Polygon(points)
    assume(is_foldable(polygon))
    foam = Foam(thickness, skin=0.8)
    # An opening so tight that the strip fills it up has fewer corners when it is lined.
    lined = polygon.buffer(-thickness, join_style="mitre", mitre_limit=1000)
    assume(lined.geom_type == "Polygon" and len(lined.exterior.coords) == len(polygon.exterior.coords))
    pattern = EdgeStrip(foam, Path.polyline(points, True), 20.0, inner=True).develop()
    # It folds a skin's thickness inside the edge: shapely's mitred offset is the referee.
    referee = polygon.buffer(-foam.skin, join_style="mitre", mitre_limit=1000)
    assert flat_length(pattern) == pytest.approx(referee.length, abs=1e-6)
    slits = [at for at, _ in strip_lines(pattern, LineKind.MARK)]
    folds = strip_lines(pattern, LineKind.FOLD)
    hollows = sorted(a for a in exterior_angles(polygon) if a < 0.0)
    assert len(slits) == len(hollows)
    if not slits:
        hinges = plan_of_strip([0.0, *(at for at, _ in folds), flat_length(pattern)], [a for _, a in folds])
        seam = shapely.get_coordinates(hinges.exterior)
        assert np.hypot(*(seam[0] - seam[-2])) <= CLOSED
        outside = hinges.buffer(0).simplify(1e-6).buffer(foam.skin, join_style="mitre", mitre_limit=1000)
        assert outside.area == pytest.approx(polygon.area, rel=1e-6)
        assert outside.length == pytest.approx(polygon.length, rel=1e-6)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= 1e-6


def test_an_opening_with_a_corner_that_stands_out_is_lined_slit_or_split() -> None:
    foam = Foam(6.0, skin=0.8)
    path = Path.polyline(L_SHAPE, True)
    pattern = EdgeStrip(foam, path, 20.0, inner=True).develop()
    bends = sorted(
        strip_lines(pattern, LineKind.FOLD)
        + [(at, -math.pi / 2.0) for at, _ in strip_lines(pattern, LineKind.MARK)]
    )
    hinges = plan_of_strip([0.0, *(at for at, _ in bends), flat_length(pattern)], [a for _, a in bends])
    # Grooves and slits go down to the skin, which lies on the edge.
    outside = hinges.buffer(0).simplify(1e-6).buffer(foam.skin, join_style="mitre", mitre_limit=1000)
    assert same_shape(outside, Polygon(L_SHAPE)) <= CLOSED
    # Two mitred ends meet at the face that is seen, a thickness off the edge.
    split = EdgeStrip(foam, path, 20.0, hollow="split", inner=True).develop()
    assert flat_length(split) == pytest.approx(flat_length(pattern) + 2.0 * (6.0 - 0.8))
    assert len(split.pieces) == 2
    closed = refold(split)
    assert closed is not None
    assert closed.gap <= 1e-6


@pytest.mark.parametrize("width", [6.0, 11.9, 12.1])
def test_a_lining_needs_room_for_both_of_its_sides(width: float) -> None:
    slot = Path.polyline([(0, 0), (90, 0), (90, width), (0, width)], True)
    # Two rooms with a neck between them.
    necked = [(0, 0), (60, 0), (60, 30), (90, 30), (90, 0), (150, 0), (150, 80), (90, 80), (90, 30 + width),
              (60, 30 + width), (60, 80), (0, 80)]  # fmt: skip
    for path in (slot, Path.polyline(necked, True)):
        if width > 12.0:
            assert EdgeStrip(Foam(6.0), path, 20.0, inner=True)
            continue
        with pytest.raises(PatternError, match=r"the opening at .* is too narrow"):
            EdgeStrip(Foam(6.0), path, 20.0, inner=True)
    with pytest.raises(PatternError, match=r"opening's curve at .* has a radius of 5 mm"):
        EdgeStrip(Foam(6.0), Path.circle(0.0, 0.0, 5.0), 20.0, inner=True)


@pytest.mark.parametrize("inner", [False, True])
def test_a_seam_asked_for_beside_a_sharp_corner_lies_in_it(inner: bool) -> None:
    path = Path.polyline([(0, 0), (200, -40), (200, 40)], True)
    pattern = EdgeStrip(Foam(4.0), path, 20.0, start=(20.0, -4.0), inner=inner).develop()
    (closing,) = pattern.closings
    assert closing.outline.start == pytest.approx((0.0, 0.0))  # type: ignore[union-attr]
    assert len(strip_lines(pattern, LineKind.BEVEL)) == 2


def test_openings_that_are_alike_are_lined_with_pieces_that_are_alike() -> None:
    paths = [Path.circle(x, y, r) for x, y, r in ((0, 0, 20), (100, 0, 30), (0, 100, 20), (50, 60, 20))]
    pattern = line_openings([EdgeStrip(Foam(4.0), path, 10.0, inner=True) for path in paths])
    assert {piece.suffix: piece.quantity for piece in pattern.pieces} == {"opening-1": 3, "opening-2": 1}
    assert [piece.shape.outline.size[0] for piece in pattern.pieces] == pytest.approx(
        [math.tau * 18.0, math.tau * 28.0]
    )
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= CLOSED


# --- ridge -----------------------------------------------------------------------------------------


def blade(angle: float = 0.0) -> tuple[Shape, Path]:
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    points = np.array([(0, 0), (60, -25), (260, -18), (300, 0), (260, 18), (60, 25)]) @ turn
    line = np.array([(5, 0), (200, 0)]) @ turn
    return Shape(Outline(Path.polyline(points, True))), Path.polyline(line, False)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.0, 6.3), st.floats(5.0, 140.0))
def test_a_ridge_closes_to_the_drawn_outline(direction: float, degrees: float) -> None:
    shape, line = blade(direction)
    pattern = Ridge(Foam(6.0), shape, line, angle=math.radians(degrees)).develop()
    (piece,) = pattern.pieces
    (fold,) = [one for one in piece.shape.lines if one.kind is LineKind.FOLD]
    start, end = fold.path.points[[0, -1]]
    way = (end - start) / np.hypot(*(end - start))
    normal = np.array([-way[1], way[0]])
    # Tilt both sides by half the angle about the groove, and look at it from above.
    off = (piece.shape.outline.exterior.points - start) @ normal
    shadow = (
        piece.shape.outline.exterior.points - (off * (1.0 - math.cos(fold.angle / 2.0)))[:, None] * normal
    )
    assert same_shape(Polygon(shadow), shape.outline.polygon()) <= CLOSED
    assert fold.path.length == pytest.approx(300.0, abs=1e-6)
    peak = next(m.value for m in pattern.finished if m.label.startswith("peak"))
    assert np.abs(off).max() * math.sin(fold.angle / 2.0) == pytest.approx(peak, abs=1e-6)


@pytest.mark.parametrize("direction", [0.0, 0.7, 2.5])
def test_a_lopsided_blade_is_seen_from_outside_as_it_was_drawn(direction: float) -> None:
    turn = np.array([[math.cos(direction), math.sin(direction)], [-math.sin(direction), math.cos(direction)]])
    points = np.array([(0, 0), (60, -25), (300, 0), (200, 40), (20, 12)]) @ turn
    line = Path.polyline(np.array([(5, 0), (200, 0)]) @ turn, False)
    pattern = Ridge(Foam(6.0), Shape(Outline(Path.polyline(points, True))), line, angle=1.2).develop()
    shape = pattern.pieces[0].shape
    folded = folded_points(shape, shape.outline.exterior.points)
    # Inside up: grooves close towards +z, and the outside is looked at from the other side.
    (start, end) = next(f.path.points[[0, -1]] for f in shape.lines if f.kind is LineKind.FOLD)
    on_ridge = shape.outline.exterior.points @ [[-(end - start)[1]], [(end - start)[0]]]
    off = (on_ridge - start @ [-(end - start)[1], (end - start)[0]]).ravel()
    along = np.append(end - start, 0.0)
    inward = [np.cross(along, side - folded[np.abs(off) < 1e-6][0]) for side in folded[np.abs(off) > 1e-6]]
    inward = [normal / np.linalg.norm(normal) * math.copysign(1.0, normal[2]) for normal in inward]
    outward = -(max(inward, key=lambda n: n @ inward[0]) + min(inward, key=lambda n: n @ inward[0]))
    seen = seen_from(folded, outward, along)
    assert same_shape(Polygon(seen[:, :2]), Polygon(points)) <= CLOSED
    ridge_is_nearest = seen[np.abs(off) < 1e-6, 2].min() > seen[np.abs(off) > 1e-6, 2].max()
    assert ridge_is_nearest
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= CLOSED
    # The refolded picture is seen from above: its peak is up.
    spots = np.vstack(closed.surfaces)
    assert spots[:, 2].max() == pytest.approx(0.0, abs=1e-6)
    assert spots[:, 2].min() < -20.0


def test_a_ridge_by_its_peak() -> None:
    shape, line = blade()
    ridge = Ridge(Foam(6.0), shape, line, peak=25.0)
    assert math.degrees(ridge.fold) == pytest.approx(90.0)
    # Stretched across by 1 / cos(45).
    assert ridge.develop().pieces[0].shape.outline.size[1] == pytest.approx(50.0 * math.sqrt(2.0))


def test_a_gently_curved_ridge_closes_and_a_bent_one_is_refused() -> None:
    shape, _ = blade()
    gentle = Ridge(Foam(6.0), shape, Path(np.array([(0, 0, 0.02), (300, 0, 0)]), False), angle=0.6)
    closed = refold(gentle.develop())
    assert closed is not None
    assert closed.gap <= CLOSED
    # Large and steep: a line of straight pieces would gape where its normals jump.
    pattern = Ridge(
        Foam(6.0),
        Shape(Outline(Path.circle(0.0, 0.0, 550.0))),
        Path(np.array([(-550, 0, 0.0038), (550, 0, 0)]), False),
        angle=2.4,
    ).develop()
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= CLOSED
    (groove,) = [line for line in pattern.pieces[0].shape.lines if line.kind is LineKind.FOLD]
    assert len(groove.path.points) < 60
    with pytest.raises(PatternError, match="bent so much"):
        Ridge(Foam(6.0), shape, Path(np.array([(60, 0, 0.6), (160, 0, 0)]), False), angle=1.5)


@pytest.mark.parametrize(
    ("sizes", "key"),
    [({"peak": 0.1}, "peak"), ({"angle": 3.0}, "angle"), ({}, "peak"), ({"angle": 1.0, "peak": 2.0}, "peak")],
)
def test_impossible_ridges_are_refused(sizes: dict[str, float], key: str) -> None:
    shape, line = blade()
    with pytest.raises(PatternError) as caught:
        Ridge(Foam(6.0), shape, line, **sizes)
    assert caught.value.key == key
    with pytest.raises(PatternError, match="crosses the part for less than 1 mm"):
        Ridge(
            Foam(6.0),
            Shape(Outline(Path.polyline([(0, -9), (0.5, -9), (0.5, 9), (0, 9)], True))),
            Path.polyline([(-9, 0), (9, 0)], False),
            angle=1.0,
        ).develop()
    with pytest.raises(PatternError, match="two halves"):
        Ridge(Foam(6.0), shape, Path.polyline([(0, 90), (300, 90)], False), angle=1.0)


# --- stack -----------------------------------------------------------------------------------------


@given(st.floats(1.0, 300.0), st.sampled_from([2.0, 4.0, 6.0, 10.0]))
def test_a_stack_comes_as_near_to_its_height_as_layers_can(height: float, thickness: float) -> None:
    stack = Stack(Foam(thickness), blade()[0], height)
    reached = stack.develop().height
    others = [n * thickness for n in range(1, 400)]
    assert abs(reached - height) <= min(abs(other - height) for other in others) + 1e-6
    assert sum(piece.quantity for piece in stack.develop().pieces) * thickness == reached


def test_openings_go_into_the_layers_asked_for() -> None:
    shape, opening = blade()[0], Path.circle(100.0, 0.0, 8.0)
    for layers, expected in (
        ("inner", {"solid": 2, "open": 3}),
        ((2,), {"solid": 4, "open": 1}),
        ("all", {"": 5}),
    ):
        pieces = Stack(Foam(6.0), shape, 30.0, (opening,), layers).develop().pieces
        assert {piece.suffix: piece.quantity for piece in pieces} == expected
        assert [len(piece.shape.outline.holes) for piece in pieces][-1] == 1
    with pytest.raises(PatternError, match="reaches out"):
        Stack(Foam(6.0), shape, 30.0, (Path.circle(0.0, 0.0, 8.0),))
    with pytest.raises(PatternError, match="no layer 9"):
        Stack(Foam(6.0), shape, 30.0, (opening,), (9,))
