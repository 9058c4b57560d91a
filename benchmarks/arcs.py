"""How many lines and arcs the samples' cutter paths take, before and after arcs are fitted to their chords.

    python benchmarks/arcs.py [SAMPLE ...]

Every part of the samples (halberd and lantern unless others are named) with its copies, kerf in, as the
cutter gets it. "Curved" paths are those with at least one run of eight chords; others are boxes, circles
and the like, which nothing is fitted to. "Apart" and "area" are those of the path that changes most.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from pathlib import Path as FilePath

import numpy as np
import shapely

from nestkit.build import load_build
from nestkit.cutting.kerf import CRUMB
from nestkit.geometry import LineKind, Path
from nestkit.geometry.fitting import fitted
from nestkit.geometry.offset import offset

SAMPLES = FilePath(__file__).parents[1] / "samples"
CHORDS = 8


def pieces(path: Path) -> tuple[int, int]:
    """Number of lines and of arcs."""
    bulges = path.pieces()[:, 4]
    return int((bulges == 0.0).sum()), int((bulges != 0.0).sum())


def is_curved(path: Path) -> bool:
    """Whether there is a run of chords that turn a little at each corner."""
    lines = (path.pieces()[:, 4] == 0.0).tolist()
    return len(max("".join("l" if line else " " for line in lines).split(), key=len, default="")) >= CHORDS


def apart(one: Path, other: Path) -> float:
    """Largest distance between two paths, mm."""
    lines = []
    for path in (one, other):
        points = path.flatten(0.0002)
        lines.append(shapely.LineString(np.vstack((points, points[:1])) if path.closed else points))
    return float(max(shapely.hausdorff_distance(*lines), shapely.hausdorff_distance(*lines[::-1])))


def measure(name: str) -> None:
    """Print one sample's row."""
    build = load_build(SAMPLES / name / "build.toml")
    count: Counter[str] = Counter()
    worst = area = seconds = 0.0
    for part in build.parts:
        half = build.cutter_for(part.material, part.thickness).kerf / 2.0
        paths = list(offset(part.shape.outline.exterior, half))
        paths += [ring for hole in part.shape.outline.holes for ring in offset(hole, -half)]
        paths = [path for path in paths if abs(path.signed_area) > CRUMB]
        paths += [line.path for line in part.shape.lines if line.kind is LineKind.MARK]
        for path in paths:
            began = time.perf_counter()
            found = fitted(path)
            seconds += time.perf_counter() - began
            before, after = sum(pieces(path)), sum(pieces(found))
            copies = part.copies
            count["all before"] += copies * before
            count["all after"] += copies * after
            if is_curved(path):
                count["curved before"] += copies * before
                count["curved after"] += copies * after
                count["lines"] += copies * pieces(found)[0]
                count["arcs"] += copies * pieces(found)[1]
                worst = max(worst, apart(path, found))
                if path.closed:
                    area = max(area, abs(found.signed_area / path.signed_area - 1.0))
    ratio = count["curved before"] / max(count["curved after"], 1)
    print(
        f"| {name} | {count['curved before']:,} | {count['curved after']:,} "
        f"({count['arcs']:,} arcs, {count['lines']:,} lines) | {ratio:.1f} "
        f"| {count['all before']:,} | {count['all after']:,} | {worst:.4f} | {area:.1e} "
        f"| {seconds:.1f} |"
    )


def main() -> None:
    """Measure the samples that are named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("samples", nargs="*", default=["halberd", "lantern"])
    print("| sample | curved before | after | times fewer | all before | after | apart mm | area | s |")
    print("|---|---|---|---|---|---|---|---|---|")
    for name in parser.parse_args().samples:
        measure(name)


if __name__ == "__main__":
    main()
