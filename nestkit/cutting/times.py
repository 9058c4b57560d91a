"""How long a job takes: every path from standstill to standstill, with the cutter's speeds and acceleration.

The tool gains and loses speed at `Cutter.acceleration`. It stops at corners, follows an arc no faster than
the same acceleration towards its centre allows, and passes joints that hardly turn at full speed. Without an
acceleration it is always at full speed. What is estimated so is multiplied by `Cutter.time_factor`, which a
maker sets from measured times.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from nestkit.build.model import Cutter
from nestkit.cutting.model import Stroke, Times, is_pocket_layer
from nestkit.geometry import LineKind, Path
from nestkit.geometry.stretch import piece_lengths

#: Joints that turn by more are corners, at which the tool stops (common practice, no source).
SMOOTH = math.radians(10.0)


def move_seconds(length: float, speed: float, acceleration: float | None) -> float:
    """A straight move from standstill to standstill, s.

    With room to reach full speed v it takes ``length / v + v / a``, else ``2 sqrt(length / a)``.
    """
    if acceleration is None or length <= 0.0:
        return max(length, 0.0) / speed
    if length >= speed * speed / acceleration:
        return length / speed + speed / acceleration
    return 2.0 * math.sqrt(length / acceleration)


def path_seconds(path: Path, speed: float, acceleration: float | None) -> float:
    """A path from standstill to standstill, s."""
    if acceleration is None:
        return path.length / speed
    pieces = path.pieces()
    if len(pieces) == 1 and not pieces[0, 4]:
        return move_seconds(path.length, speed, acceleration)
    lengths = piece_lengths(pieces)
    pieces, lengths = pieces[lengths > 0.0], lengths[lengths > 0.0]
    angles = 4.0 * np.arctan(pieces[:, 4])
    bent = np.abs(angles) > 1e-9
    radii = np.where(bent, lengths / np.where(bent, np.abs(angles), 1.0), np.inf)
    limits = np.minimum(speed, np.sqrt(acceleration * radii))
    chords = np.arctan2(pieces[:, 3] - pieces[:, 1], pieces[:, 2] - pieces[:, 0])
    turns = (chords[1:] - angles[1:] / 2.0) - (chords[:-1] + angles[:-1] / 2.0)
    smooth = np.abs((turns + math.pi) % math.tau - math.pi) <= SMOOTH
    # Speed at each joint: what both sides allow, what can be reached from behind, and lost again ahead.
    joints = np.concatenate(
        ([0.0], np.where(smooth, np.minimum(limits[:-1], limits[1:]), 0.0), [0.0])
    ).tolist()
    steps, tops = lengths.tolist(), limits.tolist()
    for k, length in enumerate(steps):
        joints[k + 1] = min(joints[k + 1], math.sqrt(joints[k] ** 2 + 2.0 * acceleration * length))
    for k in range(len(steps) - 1, -1, -1):
        joints[k] = min(joints[k], math.sqrt(joints[k + 1] ** 2 + 2.0 * acceleration * steps[k]))
    total = 0.0
    for k, length in enumerate(steps):
        u, v = joints[k], joints[k + 1]
        peak = min(tops[k], math.sqrt((2.0 * acceleration * length + u * u + v * v) / 2.0))
        at_speed = length - (2.0 * peak * peak - u * u - v * v) / (2.0 * acceleration)
        total += (2.0 * peak - u - v) / acceleration + max(at_speed, 0.0) / peak
    return total


def etching_seconds(bundles: Sequence[Sequence[Stroke]], area: float, cutter: Cutter) -> float:
    """Etching, s, the cutter's factor in.

    Parameters
    ----------
    bundles : sequence of sequences of Stroke
        Areas with their rings, or lines that fill them; see `Cutter.area_mode`.
    area : float, mm^2
        Of all passes.
    cutter : Cutter
        With what it does to this foam.
    """
    if not cutter.area_mode:
        lines = (stroke.path for bundle in bundles for stroke in bundle if not stroke.path.closed)
        return cutter.time_factor * math.fsum(
            path_seconds(path, cutter.etch_speed, cutter.acceleration) for path in lines
        )
    seconds = area / (cutter.etch_speed * cutter.pitch)
    if cutter.acceleration is not None:
        # Lines run along x; at the end of each the tool slows down and comes up to speed again outside of it.
        heights = (max(s.path.bounds[3] - s.path.bounds[1] for s in bundle) for bundle in bundles)
        rows = math.fsum(max(1.0, height / cutter.pitch) for height in heights)
        seconds += rows * cutter.etch_speed / cutter.acceleration
    return cutter.time_factor * seconds


def stroke_seconds(strokes: Sequence[Stroke], cutter: Cutter) -> list[tuple[float, float, float]]:
    """For each stroke of a job in turn the way to it, its start and its run, s; etched strokes run in 0 s."""
    found, at = [], (0.0, 0.0)
    factor, acceleration = cutter.time_factor, cutter.acceleration
    for stroke in strokes:
        way = move_seconds(math.dist(at, stroke.path.start), cutter.travel_speed, acceleration)
        at = stroke.path.end
        if is_pocket_layer(stroke.layer):
            # The program that fills an area runs it line by line: there is no path to begin.
            start = 0.0 if cutter.area_mode else cutter.start_time
            found.append((factor * way, factor * start, 0.0))
            continue
        speed = cutter.cut_speed if stroke.kind is LineKind.CUT else cutter.mark_speed
        run = path_seconds(stroke.path, speed, acceleration)
        found.append((factor * way, factor * cutter.start_time, factor * run))
    return found


def job_times(strokes: Sequence[Stroke], cutter: Cutter, etching: float = 0.0) -> Times:
    """What a job's time is made of; ``etching`` as `etching_seconds` gives it."""
    each = stroke_seconds(strokes, cutter)
    runs = list(zip(strokes, each, strict=True))
    return Times(
        cutting=math.fsum(run for stroke, (_, _, run) in runs if stroke.kind is LineKind.CUT),
        marking=math.fsum(run for stroke, (_, _, run) in runs if stroke.kind is not LineKind.CUT),
        travel=math.fsum(way for way, _, _ in each),
        etching=etching,
        starts=math.fsum(start for _, start, _ in each),
    )
