"""Dome, prism and box: folded up from their flat pieces, and against handbook values."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nestkit.geometry import LineKind, Path, Shape
from nestkit.geometry.folding import fold_up
from nestkit.patterns import Box, Dome, Foam, Pattern, PatternError, Prism, Window, refold
from tests.patterns.refolding import folded_points, same_shape, seen_from, turning

FINE = 1e-6


def seam_edges(shape: Shape) -> tuple[np.ndarray, np.ndarray]:
    """Points of a piece's left and right edge, upward: its bevelled edges, from its lines alone."""
    sides: dict[bool, set[tuple[float, float]]] = {True: set(), False: set()}
    middle = shape.outline.polygon().centroid.x
    for line in shape.lines:
        (x0, y0), (x1, y1) = line.path.points[[0, -1]]
        if line.kind is LineKind.BEVEL and abs(y1 - y0) > 1e-9:
            sides[(x0 + x1) / 2.0 > middle] |= {(x0, y0), (x1, y1)}
    left, right = (sorted(sides[side], key=lambda p: p[1]) for side in (False, True))
    return np.array(left), np.array(right)


def turn_of_gore(shape: Shape) -> tuple[float, float, np.ndarray, np.ndarray]:
    """How far a folded gore turns about the dome's axis, how well its edges meet, its points, the axis.

    The motion that carries the folded left edge onto the folded right one is found by least squares
    (Kabsch); a dome of n gores closes when it is a turn by 1/n of a circle.
    """
    left, right = (folded_points(shape, edge) for edge in seam_edges(shape))
    a, b = left - left.mean(axis=0), right - right.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    sign = np.sign(np.linalg.det(vt.T @ u.T))
    turn = vt.T @ np.diag([1.0, 1.0, sign]) @ u.T
    misfit = float(np.linalg.norm(a @ turn.T - b, axis=1).max())
    angle = math.acos(min(1.0, max(-1.0, (np.trace(turn) - 1.0) / 2.0)))
    return angle, misfit, np.vstack((left, right)), turn


def centre_of(points: np.ndarray) -> tuple[np.ndarray, float, float]:
    """Sphere through points in space by least squares: centre, radius, largest misfit."""
    rows = np.column_stack((2.0 * points, np.ones(len(points))))
    found = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)[0]
    radius = math.sqrt(found[3] + (found[:3] ** 2).sum())
    off = np.abs(np.linalg.norm(points - found[:3], axis=1) - radius).max()
    return found[:3], radius, float(off)


@settings(max_examples=40, deadline=None)
@given(
    diameter=st.floats(60.0, 500.0),
    side=st.sampled_from(["inside", "outside"]),
    gores=st.integers(3, 12),
    bands=st.integers(2, 6),
    start=st.floats(-80.0, 40.0),
    end=st.one_of(st.just(90.0), st.floats(45.0, 85.0)),
    thickness=st.sampled_from([2.0, 4.0, 6.0]),
)
def test_a_dome_closes_and_fits_its_ball(
    diameter: float, side: str, gores: int, bands: int, start: float, end: float, thickness: float
) -> None:
    foam = Foam(thickness)
    try:
        dome = Dome(foam, diameter, side, gores, bands, math.radians(start), math.radians(end))  # type: ignore[arg-type]
    except PatternError:
        assume(False)
    pattern = dome.develop()
    shape = pattern.pieces[0].shape
    angle, misfit, points, _ = turn_of_gore(shape)
    assert misfit <= FINE
    assert angle == pytest.approx(math.tau / gores, abs=1e-7)
    centre, radius, off = centre_of(points)
    assert off <= FINE
    # The facets' planes, a groove's depth inside the fold lines, are as far from the centre as the ball says.
    clear = []
    for facet in fold_up(shape).facets:
        corners = folded_points(shape, _inner(facet.flat))
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        normal /= np.linalg.norm(normal)
        assert np.abs((folded_points(shape, _inner(facet.flat)) - corners[0]) @ normal).max() <= FINE
        clear.append(abs(float((corners[0] - centre) @ normal)) - foam.depth)
    if side == "inside":
        assert min(clear) == pytest.approx(diameter / 2.0, abs=FINE)
    else:
        assert radius + foam.skin == pytest.approx(diameter / 2.0, abs=FINE)
    _check_seam_bevels(shape, gores)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= FINE


def _inner(flat: shapely.Polygon) -> np.ndarray:
    """Corners of a facet drawn in a little, so that no fold line holds them."""
    corners = shapely.get_coordinates(flat.exterior)[:-1]
    return corners + (np.array(flat.centroid.coords[0]) - corners) * 1e-3


def _check_seam_bevels(shape: Shape, gores: int) -> None:
    """The bevels of a seam add up to the fold angle between the facets on both sides of it."""
    left, right = seam_edges(shape)
    folded_left, folded_right = folded_points(shape, left), folded_points(shape, right)
    bevels = sorted(
        (min(line.path.points[:, 1]), line.angle)
        for line in shape.lines
        if line.kind is LineKind.BEVEL
        and line.path.points[:, 0].mean() > 0.0
        and abs(np.diff(line.path.points[:, 1])[0]) > 1e-9
    )
    # Turning the whole gore by one place carries its left edge onto its right one.
    _, _, _, turn = turn_of_gore(shape)
    for k, (_, bevel) in enumerate(bevels):
        low, high = (folded_left[k] + folded_right[k]) / 2.0, (folded_left[k + 1] + folded_right[k + 1]) / 2.0
        across = folded_right[k] - folded_left[k] + folded_right[k + 1] - folded_left[k + 1]
        normal = np.cross(across, high - low)
        normal /= np.linalg.norm(normal)
        between = math.acos(min(1.0, float(normal @ (turn @ normal))))
        assert 2.0 * bevel == pytest.approx(between, abs=1e-6)


def test_gore_widths_by_the_handbook() -> None:
    # Flat-faceted gore: half width R cos(latitude) sin(pi / n) (Physics Forums 990476), R = 100, n = 6 and 8.
    rows = {
        6: [50.0, 48.2963, 43.3013, 35.3553, 25.0, 12.9410, 0],
        8: [38.2683, 36.9644, 33.1414, 27.0598, 19.1342, 9.9046, 0],
    }
    for gores, halves in rows.items():
        foam = Foam(1e-6, skin=0.0)
        (piece,) = Dome(foam, 200.0, "outside", gores, 6).develop().pieces
        assert seam_edges(piece.shape)[1][:, 0] == pytest.approx(halves, abs=1e-4)


def test_an_octahedron_has_its_dihedral_angle() -> None:
    # Fold angle of the octahedron: 70.528779 degrees (geometry handbooks; derived).
    (piece,) = Dome(Foam(2.0), 100.0, "outside", 4, 2, -math.pi / 2.0).develop().pieces
    folds = {round(math.degrees(line.angle), 6) for line in piece.shape.lines if line.kind is LineKind.FOLD}
    bevels = {round(math.degrees(line.angle), 6) for line in piece.shape.lines if line.kind is LineKind.BEVEL}
    assert folds == {70.528779}
    assert bevels == {round(70.52877936550931 / 2.0, 6)}


def test_a_capped_dome_closes_at_its_cap() -> None:
    for gores in (3, 5, 8):
        pattern = Dome(Foam(4.0), 160.0, "inside", gores, 3, -0.3, 1.1, cap=True).develop()
        assert [piece.suffix for piece in pattern.pieces] == ["gore", "cap"]
        closed = refold(pattern)
        assert closed is not None
        assert closed.gap <= FINE


@pytest.mark.parametrize("side", ["inside", "outside"])
@pytest.mark.parametrize(
    ("gores", "bands", "end"), [(18, 3, 60.0), (6, 3, 60.0), (8, 4, 32.0), (12, 2, 80.0)]
)
def test_a_ball_under_a_capped_dome_touches_neither_gores_nor_cap(
    side: str, gores: int, bands: int, end: float
) -> None:
    foam = Foam(4.0)
    pattern = Dome(foam, 100.0, side, gores, bands, -0.2, math.radians(end), cap=True).develop()  # type: ignore[arg-type]
    gore, cap = (piece.shape for piece in pattern.pieces)
    _, _, points, _ = turn_of_gore(gore)
    centre, radius, _ = centre_of(points)
    # The cap's corners lie on the sphere: its plane is off the centre by Pythagoras.
    rim = float(np.hypot(*cap.outline.exterior.points.T).max())
    clear = [math.sqrt(radius**2 - rim**2) - foam.depth]
    for facet in fold_up(gore).facets:
        corners = folded_points(gore, _inner(facet.flat))
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        clear.append(abs(float((corners[0] - centre) @ normal)) / np.linalg.norm(normal) - foam.depth)
    ball = next(m.value for m in pattern.finished if m.label.startswith("ball"))
    assert ball / 2.0 == pytest.approx(min(clear), abs=FINE)
    if side == "inside":
        assert ball == pytest.approx(100.0, abs=FINE)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= FINE


def test_a_lidded_bowl_names_no_ball() -> None:
    pattern = Dome(Foam(4.0), 100.0, "outside", 8, 3, -math.pi / 2.0, 0.0, cap=True).develop()
    assert [m.label for m in pattern.finished] == ["outside over corners", "height between rims"]


@pytest.mark.parametrize(
    ("sizes", "key"),
    [
        ({"diameter": 90.0, "side": "inside", "to_latitude": 0.4, "cap": True}, "to_latitude"),
        ({"diameter": 12.0}, "diameter"),
        ({"diameter": 100.0, "gores": 2}, "gores"),
        ({"diameter": 100.0, "bands": 1, "from_latitude": -math.pi / 2}, "bands"),
        ({"diameter": 30.0, "gores": 3, "bands": 12}, "bands"),
        ({"diameter": 100.0, "from_latitude": 1.0, "to_latitude": 0.5}, "from_latitude"),
        ({"diameter": 100.0, "to_latitude": 2.0}, "to_latitude"),
        ({"diameter": 100.0, "cap": True}, "cap"),
    ],
)
def test_impossible_domes_are_refused(sizes: dict[str, float], key: str) -> None:
    with pytest.raises(PatternError) as caught:
        Dome(Foam(6.0), **sizes)  # type: ignore[arg-type]
    assert caught.value.key == key


# --- prism and box ---------------------------------------------------------------------------------


def section(pattern: Pattern) -> shapely.Polygon:
    """The hinges' polygon of a folded tube, from its strips alone: each is turned on by its bevels."""
    spots, turn, at = [], np.eye(2), np.zeros(2)
    strips = [piece for piece in pattern.pieces if piece.suffix != "lid" for _ in range(piece.quantity)]
    for piece in strips:
        width = piece.shape.outline.size[0]
        folds = sorted(
            (float(line.path.points[0, 0]), line.angle)
            for line in piece.shape.lines
            if line.kind is LineKind.FOLD
        )
        ends = [
            (line.path.points[0, 0], line.angle) for line in piece.shape.lines if line.kind is LineKind.BEVEL
        ]
        last = 0.0
        for x, angle in [*folds, (width, 2.0 * max(ends)[1])]:
            spots.append(at)
            at = at + turn @ np.array([x - last, 0.0])
            turn = turn @ turning(np.array([0.0, 0.0, 1.0]), angle)[:2, :2]
            last = x
    assert np.hypot(*at) <= FINE
    assert turn == pytest.approx(np.eye(2), abs=1e-9)
    return shapely.Polygon(spots)


@settings(max_examples=40, deadline=None)
@given(
    st.integers(3, 12),
    st.floats(60.0, 400.0),
    st.sampled_from([2.0, 6.0, 10.0]),
    st.sampled_from(["inside", "outside"]),
    st.sampled_from([(), ((450.0, 300.0),)]),
)
def test_a_prism_folds_to_a_regular_tube(
    panels: int, across: float, thickness: float, side: str, rooms: tuple[tuple[float, float], ...]
) -> None:
    foam = Foam(thickness, rooms=rooms)
    pattern = Prism(foam, panels, across, 150.0, side).develop()  # type: ignore[arg-type]
    hinges = section(pattern)
    inside = hinges.buffer(-foam.depth, join_style="mitre", mitre_limit=50)
    outside = hinges.buffer(foam.skin, join_style="mitre", mitre_limit=50)
    # Inscribed circle from area and perimeter: 2 A / P, true of every polygon round a circle.
    measured = {"inside": inside, "outside": outside}[side]
    assert 4.0 * measured.area / measured.length == pytest.approx(across, abs=1e-6)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= FINE
    assert all(foam.holds(piece.shape.outline) for piece in pattern.pieces) or not rooms or (across > 250.0)


@pytest.mark.parametrize(
    ("panels", "fold", "side"),
    # Fold per corner 360 / n, and side for an apothem of 100 (geometry handbooks; derived).
    [(3, 120, 346.410162), (4, 90, 200), (5, 72, 145.308506), (6, 60, 115.470054), (8, 45, 82.842712)],
)
def test_prism_angles_and_sides_by_the_handbook(panels: int, fold: float, side: float) -> None:
    (piece,) = Prism(Foam(4.0, skin=0.0), panels, 200.0, 50.0).develop().pieces
    folds = [line for line in piece.shape.lines if line.kind is LineKind.FOLD]
    assert len(folds) == panels - 1
    assert {round(math.degrees(line.angle), 9) for line in folds} == {fold}
    assert piece.shape.outline.size[0] / panels == pytest.approx(side, abs=1e-5)


def test_a_box_has_its_sizes_and_its_lid() -> None:
    foam = Foam(6.0)
    for side, extra in (("outside", -foam.skin), ("inside", foam.depth)):
        pattern = Box(foam, 120.0, 80.0, 50.0, side, lids=2).develop()  # type: ignore[arg-type]
        x0, y0, x1, y1 = section(pattern).bounds
        assert sorted((x1 - x0, y1 - y0)) == pytest.approx([80.0 + 2 * extra, 120.0 + 2 * extra])
        lid = pattern.pieces[-1]
        assert (lid.suffix, lid.quantity) == ("lid", 2)
        wall = 0.0 if side == "outside" else 12.0
        assert lid.shape.outline.size == pytest.approx((120.0 + wall, 80.0 + wall))


@pytest.mark.parametrize("panels", [3, 6, 7])
@pytest.mark.parametrize("lids", [0, 1, 2])
@pytest.mark.parametrize("lid", ["over", "in"])
def test_lids_lie_on_the_rim_or_between_the_panels(panels: int, lids: int, lid: str) -> None:
    foam = Foam(6.0)
    pattern = Prism(foam, panels, 170.0, 100.0, lids=lids, lid=lid).develop()  # type: ignore[arg-type]
    height = next(m.value for m in pattern.finished if m.label == "height")
    assert height == 100.0 + (6.0 * lids if lid == "over" else 0.0)
    if not lids:
        assert [piece.suffix for piece in pattern.pieces] == [""]
        return
    strip, top = pattern.pieces
    assert (strip.suffix, top.suffix, top.quantity) == ("panels", "lid", lids)
    off = foam.skin if lid == "over" else -foam.depth
    rim = section(pattern).buffer(off, join_style="mitre", mitre_limit=50)
    assert same_shape(top.shape.outline.polygon(), rim.simplify(1e-6)) <= FINE


@pytest.mark.parametrize(("panels", "lids", "key"), [(2, 0, "panels"), (65, 0, "panels"), (6, 3, "lids")])
def test_too_many_or_too_few_are_refused_by_name(panels: int, lids: int, key: str) -> None:
    with pytest.raises(PatternError) as caught:
        Prism(Foam(6.0), panels, 170.0, 100.0, lids=lids)
    assert caught.value.key == key
    assert len(Prism(Foam(2.0), 64, 170.0, 100.0).develop().pieces) >= 1


def test_windows_lie_in_the_middle_of_their_panels() -> None:
    window = Window((Path.circle(900.0, -5.0, 20.0),), panels=(1, 3))
    (piece,) = Prism(Foam(6.0), 6, 170.0, 200.0, windows=(window,)).develop().pieces
    side = piece.shape.outline.size[0] / 6.0
    middles = sorted(
        tuple(float(v) for v in shapely.Polygon(hole.flatten()).centroid.coords[0])
        for hole in piece.shape.outline.holes
    )
    assert middles == [
        pytest.approx((3.5 * side, 100.0), abs=1e-6),  # inside up, panel 1 is the last one
        pytest.approx((5.5 * side, 100.0), abs=1e-6),
    ]
    assert all(hole.has_arcs for hole in piece.shape.outline.holes)


@pytest.mark.parametrize("rooms", [(), ((300.0, 300.0),)])
def test_windows_and_panels_are_seen_from_outside_as_they_were_drawn(
    rooms: tuple[tuple[float, float], ...],
) -> None:
    hook = np.array([(0.0, 0.0), (30.0, 0.0), (30.0, 8.0), (10.0, 8.0), (10.0, 40.0), (0.0, 40.0)])
    window = Window((Path.polyline(hook + np.array([7.0, 900.0]), True),), panels=(2,), at=(35.0, 60.0))
    panels = Box(Foam(6.0, rooms=rooms), 120.0, 80.0, 100.0, windows=(window,)).develop().pieces
    (piece,) = [piece for piece in panels if piece.shape.outline.holes]
    # One strip holds all four panels; of two, one begins or ends with panels 1 and 2.
    assert len(panels) == (2 if rooms else 1)
    shape = piece.shape
    hole = folded_points(shape, shape.outline.holes[0].points)
    middles = {}
    for number, facet in enumerate(fold_up(shape).facets):
        inner = folded_points(shape, _inner(facet.flat))
        normal = np.cross(inner[1] - inner[0], inner[2] - inner[0])
        middles[number] = (inner.mean(axis=0), normal, inner)
    middle, normal, corners = min(middles.values(), key=lambda m: np.linalg.norm(m[0] - hole.mean(axis=0)))
    others = [other for other, _, _ in middles.values() if other is not middle]
    # Folded panels lie on the inside; the eye is on the other side, upright.
    outward = -normal * math.copysign(1.0, normal @ (np.mean(others, axis=0) - middle))
    up = np.array([0.0, 1.0, 0.0])
    seen, panel = seen_from(hole, outward, up), seen_from(corners, outward, up)
    assert panel[:, 0].max() - panel[:, 0].min() == pytest.approx(80.0 - 1.2, rel=0.01)  # between fold lines
    assert same_shape(shapely.Polygon(seen[:, :2]), shapely.Polygon(hook)) <= FINE
    corner = panel[:, :2].min(axis=0)
    box = (seen[:, :2].min(axis=0) + seen[:, :2].max(axis=0)) / 2.0
    assert box - corner == pytest.approx((35.0, 60.0), abs=0.2)
    # Panel 1, the other wide one beside it, lies on its left: with one strip panel 3 is on its right as well.
    beside = sorted(float(x) for x in (seen_from(np.array(others), outward, up) - panel.mean(axis=0))[:, 0])
    assert beside[0] < -30.0
    closed = refold(Box(Foam(6.0, rooms=rooms), 120.0, 80.0, 100.0, windows=(window,)).develop())
    assert closed is not None
    assert closed.gap <= FINE


def test_strips_of_a_parted_tube_follow_each_other_as_their_panels_do() -> None:
    windows = tuple(Window((Path.circle(0.0, 0.0, 10.0 * k),), panels=(k,)) for k in (1, 2, 3))
    pattern = Prism(Foam(6.0, rooms=((200.0, 120.0),)), 3, 90.0, 110.0, windows=windows).develop()
    assert [piece.suffix for piece in pattern.pieces] == ["panels-1", "panels-2", "panels-3"]
    radii = [piece.shape.outline.holes[0].bounds for piece in pattern.pieces]
    assert [x1 - x0 for x0, _, x1, _ in radii] == pytest.approx([20.0, 40.0, 60.0])
    closed = refold(pattern)
    assert closed is not None
    first, second, third = (
        hole.mean(axis=0) for hole in sorted(closed.holes, key=lambda h: float(np.ptp(h[:, 1])))
    )
    # From the left, seen from outside: counter-clockwise, seen from above (up is +y on the flat strip).
    assert np.cross(second - first, third - first)[1] > 0.0


@pytest.mark.parametrize(
    "window", [Window((Path.circle(0, 0, 60.0),)), Window((Path.circle(0, 0, 9.0),), (7,))]
)
def test_a_window_that_has_no_room_is_refused(window: Window) -> None:
    with pytest.raises(PatternError) as caught:
        Prism(Foam(6.0), 6, 170.0, 200.0, windows=(window,))
    assert caught.value.key == "window"


def test_tubes_without_a_hollow_are_refused() -> None:
    for make in (lambda: Prism(Foam(10.0), 6, 20.0, 50.0), lambda: Box(Foam(10.0), 100.0, 20.0, 50.0)):
        with pytest.raises(PatternError, match="hollow"):
            make()
    with pytest.raises(PatternError, match="skin"):
        Prism(Foam(2.0, skin=2.0), 6, 100.0, 50.0)
