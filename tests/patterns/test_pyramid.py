"""Pyramid: sides hinged together about their seams, and against the solids of the handbook."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nestkit.geometry import LineKind, Shape
from nestkit.patterns import CLOSED, Foam, PatternError, Pyramid, refold, seams_of
from tests.patterns.refolding import turning

PAPER = Foam(1e-7, skin=0.0)


def edges(shape: Shape) -> dict[str, tuple[np.ndarray, float]]:
    """The bevelled edges of a side, by where they lie: points upward or to the right, and the bevel."""
    found = {}
    for line in shape.lines:
        if line.kind is LineKind.BEVEL:
            points = np.array(sorted(line.path.points.tolist(), key=lambda p: (p[1], p[0])))
            level = abs(points[1, 1] - points[0, 1]) < 1e-9
            found["foot" if level else "left" if points[0, 0] < 0 else "right"] = (points, line.angle)
    return found


def set_up(shape: Shape, count: int) -> tuple[list[np.ndarray], list[np.ndarray], float]:
    """Outlines and normals (inside up) of all sides, each turned about its seam with the one before; the gap.

    Only bevels and edges of the flat piece are used: a seam folds by both its bevels.
    """
    (right, bevel), (left, other) = edges(shape)["right"], edges(shape)["left"]
    assert bevel == pytest.approx(other)
    flat = np.column_stack((shape.outline.exterior.points, np.zeros(len(shape.outline.exterior.points))))
    left, right = (np.column_stack((edge, np.zeros(2))) for edge in (left, right))
    # In the plane, the next side's left edge onto this one's right edge; then up, about that edge.
    along, wanted = left[1] - left[0], right[1] - right[0]
    level = turning(
        np.array([0.0, 0.0, 1.0]), math.atan2(wanted[1], wanted[0]) - math.atan2(along[1], along[0])
    )
    step = turning(wanted, -2.0 * bevel) @ level
    move = right[0] - step @ left[0]
    frame, at = np.eye(3), np.zeros(3)
    outlines, normals = [], []
    for _ in range(count):
        outlines.append(flat @ frame.T + at)
        normals.append(frame @ np.array([0.0, 0.0, 1.0]))
        at, frame = frame @ move + at, frame @ step
    return outlines, normals, float(np.linalg.norm((flat @ frame.T + at) - flat, axis=1).max())


def measured(shape: Shape, count: int, off: float) -> tuple[float, float, float]:
    """Across flats at the foot, height and lean of the faces ``off`` mm outside the seams' pyramid.

    The height is that of the point in which the first three faces' planes meet.
    """
    outlines, normals, gap = set_up(shape, count)
    assert gap <= 1e-6
    feet = np.array(
        [points[np.argsort(flat[:, 1])[:2]].mean(axis=0) for points, flat in _with_flat(shape, outlines)]
    )
    middle = feet.mean(axis=0)
    ground = np.cross(feet[1] - feet[0], feet[2] - feet[1])
    ground /= np.linalg.norm(ground)
    assert np.abs((feet - middle) @ ground).max() <= 1e-6, "the feet lie in one plane"
    if (outlines[0].mean(axis=0) - middle) @ ground < 0.0:
        ground = -ground
    outward = [n if n @ (foot - middle) > 0.0 else -n for n, foot in zip(normals, feet, strict=True)]
    tip = np.linalg.solve(
        outward[:3], [n @ foot + off for n, foot in zip(outward[:3], feet[:3], strict=True)]
    )
    way = feet[0] - middle
    far = float(np.linalg.norm(way))
    # Where the first face's plane meets the ground, on the way out from the axis.
    across = (outward[0] @ (feet[0] - middle) + off) / (outward[0] @ (way / far))
    lean = math.acos(float(outward[0] @ ground))
    return 2.0 * float(across), float((tip - middle) @ ground), lean


def _with_flat(shape: Shape, outlines: list[np.ndarray]) -> list[tuple[np.ndarray, np.ndarray]]:
    return [(points, shape.outline.exterior.points) for points in outlines]


@given(
    sides=st.integers(3, 12),
    across=st.floats(20.0, 400.0),
    height=st.floats(10.0, 500.0),
    thickness=st.sampled_from([2.0, 4.0, 10.0]),
    side=st.sampled_from(["inside", "outside"]),
)
def test_a_point_has_the_sizes_that_were_asked_for(
    sides: int, across: float, height: float, thickness: float, side: str
) -> None:
    foam = Foam(thickness)
    try:
        pattern = Pyramid(foam, sides, across, height, side=side).develop()
    except PatternError:
        assume(False)
    (piece,) = pattern.pieces
    assert piece.quantity == sides
    off = foam.skin if side == "outside" else -foam.depth
    found = measured(piece.shape, sides, off)
    assert found[:2] == pytest.approx((across, height), rel=1e-6)
    told = {each.label: each.value for each in pattern.finished}
    outside = measured(piece.shape, sides, foam.skin)
    assert (told["across flats outside"], told["height outside"]) == pytest.approx(outside[:2], rel=1e-6)
    assert told["across flats inside"] == pytest.approx(
        measured(piece.shape, sides, -foam.depth)[0], rel=1e-6
    )
    assert told["lean of the sides"] == pytest.approx(outside[2], rel=1e-6)
    # What the foot's bevel and the lean make is a right angle: the foot lies flat.
    assert edges(piece.shape)["foot"][1] + outside[2] == pytest.approx(math.pi / 2.0)
    closed = refold(pattern)
    assert closed is not None
    assert closed.gap <= CLOSED


@given(st.integers(3, 10), st.floats(60.0, 300.0), st.floats(0.2, 0.8), st.floats(30.0, 300.0))
def test_a_rim_has_the_width_and_height_that_were_asked_for(
    sides: int, across: float, share: float, height: float
) -> None:
    foam = Foam(4.0)
    try:
        (piece,) = Pyramid(foam, sides, across, height, share * across).develop().pieces
    except PatternError:
        assume(False)
    outlines, _, gap = set_up(piece.shape, sides)
    assert gap <= 1e-6
    rows = piece.shape.outline.exterior.points
    upper = np.array([points[np.argsort(rows[:, 1])[2:]].mean(axis=0) for points in outlines])
    lower = np.array([points[np.argsort(rows[:, 1])[:2]].mean(axis=0) for points in outlines])
    assert np.linalg.norm(upper.mean(axis=0) - lower.mean(axis=0)) == pytest.approx(height, rel=1e-6)
    # Lean of the sides, then the skin that lies over them, level: both ends are as much wider.
    lean = measured(piece.shape, sides, 0.0)[2]
    for middles, wanted in ((lower, across), (upper, share * across)):
        reach = np.linalg.norm(middles - middles.mean(axis=0), axis=1)
        assert 2.0 * (reach + foam.skin / math.sin(lean)) == pytest.approx(wanted, rel=1e-6)


def test_equal_edges_make_the_solids_of_the_handbook() -> None:
    """Tetrahedron: dihedral acos(1/3) = 70.5288 degrees; square pyramid with equal edges: its sides meet at
    acos(-1/3) = 109.4712 degrees, those of the octahedron that it is half of (Coxeter, Regular Polytopes,
    table I). A fold angle is what is missing to 180 degrees.
    """
    edge = 100.0
    inner = edge / math.sqrt(3.0) / 2.0  # radius of the circle within an equilateral triangle
    cases = (
        (3, 2.0 * inner, edge * math.sqrt(2.0 / 3.0), 70.5288),
        (4, edge, edge / math.sqrt(2.0), 109.4712),
    )
    for sides, across, height, dihedral in cases:
        (piece,) = Pyramid(PAPER, sides, across, height).develop().pieces
        lengths = [math.dist(*points) for points, _ in edges(piece.shape).values()]
        assert lengths == pytest.approx([edge] * 3, rel=1e-6)
        assert math.degrees(2.0 * edges(piece.shape)["left"][1]) == pytest.approx(180.0 - dihedral, abs=1e-4)


def test_every_seam_is_known() -> None:
    (seam,) = seams_of(Pyramid(Foam(4.0), 6, 80.0, 60.0).develop())
    assert (seam.first, seam.second, seam.count) == ("", "", 6)


@pytest.mark.parametrize(
    ("sizes", "key", "what"),
    [
        ({"sides": 2}, "sides", "2 is not from 3 to 64"),
        ({"across_flats": 0.0}, "across_flats", "is not above 0"),
        ({"height": math.nan}, "height", "is not above 0"),
        ({"top_across_flats": 60.0}, "top_across_flats", "60 mm is not less than 60 mm below"),
        ({"top_across_flats": -1.0}, "top_across_flats", "is less than 0"),
        ({"height": 3.0}, "across_flats", "leaves nothing hollow in 60 mm"),
        (
            {"foam": Foam(10.0), "height": 20.0, "across_flats": 20.0},
            "across_flats",
            "10 mm of foam at this lean",
        ),
        (
            {"foam": Foam(10.0), "across_flats": 200.0, "height": 5.0, "top_across_flats": 150.0},
            "height",
            "lie so flat that the bevel of their foot takes all of them",
        ),
        ({"height": 200.0, "top_across_flats": 1.0}, "top_across_flats", "closes on itself"),
    ],
)
def test_sizes_that_no_foam_can_be_made_to(sizes: dict[str, object], key: str, what: str) -> None:
    with pytest.raises(PatternError, match=what) as caught:
        Pyramid(**{"foam": Foam(4.0), "sides": 4, "across_flats": 60.0, "height": 80.0, **sizes})  # type: ignore[arg-type]
    assert caught.value.key == key
    assert caught.value.todo or what == "is not above 0"
