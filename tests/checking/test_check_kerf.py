"""What the kerf itself does to a part: it is told, and not blamed on the maker."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from nestkit.checking import check_folder
from tests.checking.made import (
    KERF,
    ONE,
    SPECS,
    SPOTS,
    Entity,
    Made,
    Row,
    Spec,
    Spot,
    block,
    corners,
    flat,
    made,
)

Shape = Callable[[float], list[Row]]


def notched(half_width: float) -> Spec:
    """A block with a slit from above, 40 mm deep, `half_width` to each side at its mouth and at its foot."""
    w = half_width
    ring = corners((0, 0), (90, 0), (90, 60), (45 + w, 60), (45 + w, 20), (45 - w, 20), (45 - w, 60), (0, 60))
    return Spec("wing", 6.0, 2, ring, (90.0, 60.0), 5400 - 80 * w, pairs=True)


def cut_by_a_beam(m: Made, spec: Spec, kerf: float) -> None:
    """Give both wings the paths of a round beam of the kerf's width around their outline and holes."""

    def ring(shape: Shape) -> shapely.Polygon:
        return shapely.Polygon([(x, y) for x, y, _ in shape(0.0)])

    around = ring(spec.outline).buffer(kerf / 2, quad_segs=16)
    inside = shapely.union_all([ring(hole).buffer(-kerf / 2, quad_segs=16) for hole in spec.holes])
    paths = [*around.interiors, *(piece.exterior for piece in shapely.get_parts(inside))]
    m.jobs[ONE] = [one for one in m.jobs[ONE] if (one.layer, one.part) != ("CUT_INSIDE", "wing")]
    for spot in (spot for spot in SPOTS[ONE] if spot.part == "wing"):
        k = m.find(ONE, "CUT_OUTSIDE", "wing", spot.copy)
        m.change(ONE, k, rows=put(spot, around.exterior))
        m.jobs[ONE][k:k] = [Entity("CUT_INSIDE", put(spot, path), True, "wing", spot.copy) for path in paths]
    lengths = [
        shapely.LinearRing(flat(one.rows, 400)).length for one in m.jobs[ONE] if one.layer[:3] == "CUT"
    ]
    m.plan["sheets"][0]["cut_length_mm"] = sum(lengths)


def put(spot: Spot, path: shapely.LinearRing) -> list[Row]:
    return spot.put([(x, y, 0.0) for x, y in path.coords[:-1]])


@pytest.mark.parametrize(("half_width", "codes"), [(0.5, set()), (0.08, {"detail-lost"})])
def test_a_slit_narrower_than_the_kerf_is_told(half_width: float, codes: set[str], tmp_path: Path) -> None:
    spec = notched(half_width)
    m = made({**SPECS, "wing": spec})
    cut_by_a_beam(m, spec, KERF)
    verdict = check_folder(m.write(tmp_path))
    assert verdict.codes == codes, str(verdict)


KEYHOLE = corners(
    *((0, 0), (90, 0), (90, 60), (46, 60), (46, 40), (60, 40)),
    *((60, 20), (30, 20), (30, 40), (44, 40), (44, 60), (0, 60)),
)
BONE = corners(
    *((10, 20), (30, 20), (30, 29), (60, 29), (60, 20), (80, 20)),
    *((80, 40), (60, 40), (60, 31), (30, 31), (30, 40), (10, 40)),
)
BONED = Spec("wing", 6.0, 2, block(0, 0, 90, 60), (90.0, 60.0), 5400.0 - 860.0, (BONE,), pairs=True)


@pytest.mark.parametrize(
    ("spec", "told"),
    [
        (Spec("wing", 6.0, 2, KEYHOLE, (90.0, 60.0), 5400.0 - 640.0, pairs=True), "is cut as a hole"),
        (BONED, "is cut as 2 holes"),
    ],
)
def test_what_a_wide_kerf_closes_is_told_as_its_doing(
    spec: Spec, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its wide ends are cut all the same; one that is not is missed."""
    monkeypatch.setattr("tests.checking.made.KERF", 3.0)
    m = made({**SPECS, "wing": spec})
    cut_by_a_beam(m, spec, 3.0)
    faults = check_folder(m.write(tmp_path)).faults
    assert [(fault.code, fault.part, fault.copy) for fault in faults] == [
        ("detail-lost", "wing", 1),
        ("detail-lost", "wing", 2),
    ]
    assert all(told in fault.text and "Widen" in fault.todo for fault in faults)
    del m.jobs[ONE][m.find(ONE, "CUT_INSIDE", "wing", 1)]
    codes = {fault.code for fault in check_folder(m.write(tmp_path)).faults if fault.copy == 1}
    assert codes in ({"shape"}, {"hole-wrong"})


def with_fillets(points: list[tuple[float, float]], rounded: set[int], radius: float) -> list[Row]:
    """A ring of horizontal and vertical lines with some of its corners rounded, in chords within 0.005 mm."""
    rows: list[Row] = []
    for k, (x, y) in enumerate(points):
        (px, py), (nx, ny) = points[k - 1], points[(k + 1) % len(points)]
        ax, ay = np.sign(px - x), np.sign(py - y)
        bx, by = np.sign(nx - x), np.sign(ny - y)
        for turn in np.linspace(0.0, math.pi / 2, 9) if k in rounded else ():
            a, b = radius * (1.0 - math.sin(turn)), radius * (1.0 - math.cos(turn))
            rows.append((float(x + a * ax + b * bx), float(y + a * ay + b * by), 0.0))
        if k not in rounded:
            rows.append((x, y, 0.0))
    return rows


@pytest.mark.parametrize(
    ("radius", "codes"),
    [(0.5, set()), (1.0, set()), (1.4, set()), (2.5, {"hole-wrong", "shape"})],
)
def test_corners_less_round_than_the_beam_may_be_cut_sharp(
    radius: float, codes: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A path half a wide kerf off such an inner corner has none; the beam makes it round."""
    monkeypatch.setattr("tests.checking.made.KERF", 3.0)
    window = [(20.0, 20.0), (100.0, 20.0), (100.0, 100.0), (20.0, 100.0)]
    cup = [(0, 0), (90, 0), (90, 60), (70, 60), (70, 20), (20, 20), (20, 60), (0, 60)]

    def planned_or_cut(points: list[tuple[float, float]], inner: set[int]) -> Shape:
        return lambda out: corners(*points)(out) if out else with_fillets(points, inner, radius)

    corner = (1.0 - math.pi / 4) * radius**2
    plate = replace(
        SPECS["plate"],
        holes=(planned_or_cut(window, {0, 1, 2, 3}), SPECS["plate"].holes[1]),
        area=SPECS["plate"].area + 4 * corner,
    )
    area = 5400.0 - 2000.0 + 2 * corner
    wing = Spec("wing", 6.0, 2, planned_or_cut(cup, {4, 5}), (90.0, 60.0), area, pairs=True)
    verdict = check_folder(made({**SPECS, "plate": plate, "wing": wing}).write(tmp_path))
    assert verdict.codes == codes, str(verdict)
