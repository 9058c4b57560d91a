"""Seam numbers: on both edges of each seam that a pattern knows, near that edge, as numbered for gluing."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
import shapely

from nestkit.build import load_build
from nestkit.build.seam_numbers import numbered_seams, seam_edges
from nestkit.cutting.label_places import CLEAR
from nestkit.cutting.labels import labels_on
from nestkit.geometry import Placement
from nestkit.geometry.affine import apply
from nestkit.nesting.model import PlacedPart, PlannedSheet
from tests.zoo import rectangle

LANTERN = Path(__file__).parents[2] / "samples" / "lantern" / "build.toml"
PLACE = Placement(400.0, 300.0, 0.7, True)


@pytest.fixture(scope="module")
def build():
    return load_build(LANTERN)


def written(build, part):
    placed = PlacedPart(part, 1, PLACE)
    sheet = PlannedSheet(
        1, "eva", 1, True, None, part.material, part.thickness, rectangle(900, 600), "laser", (placed,)
    )
    return labels_on(build, sheet, placed), placed


def lines_of(label):
    return shapely.union_all([shapely.LineString(path.points) for path in label.paths()])


def test_numbers_run_through_the_build_and_every_edge_lies_on_its_parts_outline(build):
    numbers = [number for seams in numbered_seams(build).values() for number, _ in seams]
    assert numbers == list(range(1, len(numbers) + 1))
    parts = {part.name: part for part in build.parts}
    assert seam_edges(build)
    for name, edges in seam_edges(build).items():
        rim = parts[name].shape.outline.polygon(0.005).boundary
        for _, points in edges:
            assert rim.buffer(0.3).covers(shapely.LineString(points))


def test_each_edge_carries_its_seams_number_or_it_is_said_that_there_is_no_room(build):
    seen = 0
    for part in build.parts:
        edges = seam_edges(build).get(part.name, ())
        found, placed = written(build, part)
        told = Counter(label.text for label in found.labels if label.text.startswith("("))
        told += Counter(f"({number})" for number in found.no_seams)
        assert told == Counter(f"({number})" for number, _ in edges)
        foam = placed.shape.outline.polygon(0.005)
        texts = [lines_of(label) for label in found.labels]
        for k, text in enumerate(texts):
            assert foam.contains(text)
            assert foam.boundary.distance(text) >= CLEAR
            assert all(text.distance(other) >= CLEAR - 1e-6 for other in texts[:k])
        for label, text in zip(found.labels, texts, strict=True):
            if label.text.startswith("("):
                number = int(label.text.strip("()"))
                near = min(
                    shapely.LineString(apply(PLACE.matrix, points)).distance(text)
                    for each, points in edges
                    if each == number
                )
                # The farthest row of places begins 14 mm farther than a label's own room.
                assert near <= 14.0 + 2.0 * CLEAR
                seen += 1
    assert seen >= 10


def test_the_two_edges_of_a_cone_have_one_number(build):
    roof = next(part for part in build.parts if part.name == "roof")
    found, _ = written(build, roof)
    seams = [label.text for label in found.labels if label.text.startswith("(")]
    assert len(seams) == 2
    assert len(set(seams)) == 1
