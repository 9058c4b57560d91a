"""Slow and obvious twins of the fast code, in plain shapely and loops."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterable, Sequence

import numpy as np
from ezdxf.math import bulge_to_arc
from shapely.geometry import MultiPoint, Point, Polygon

from nestkit.geometry import Outline
from nestkit.nesting.overlap.state import Shapes

# --- geometry -------------------------------------------------------------------------------------


def convex_sum(one: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> Polygon:
    """Minkowski sum of convex rings: the hull of all sums of corners."""
    return MultiPoint([(a + c, b + d) for a, b in one for c, d in other]).convex_hull


def circle_of_piece(
    start: tuple[float, float],
    end: tuple[float, float],
    circles: Sequence[tuple[float, float, float]],
    near: float,
) -> int | None:
    """Number of the first circle that a piece's ends and middle lie on, its ends within ``near``."""
    middle = ((start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0)

    def off(spot: tuple[float, float], circle: tuple[float, float, float]) -> float:
        return abs(math.dist(spot, circle[:2]) - circle[2])

    for number, circle in enumerate(circles):
        if max(off(start, circle), off(end, circle), off(middle, circle) / 2.0) <= near:
            return number
    return None


def far_from_arcs(
    points: Sequence[tuple[float, float]],
    spots: Sequence[tuple[float, float]],
    along: tuple[float, float],
    bulges: Sequence[float],
) -> float:
    """The farthest that inner ends and middles of chords are from circles, or lines, through ``spots``."""
    middles = [((a + c) / 2.0, (b + d) / 2.0) for (a, b), (c, d) in itertools.pairwise(points)]
    aways = []
    for x, y in [*points[1:-1], *middles]:
        ahead = (x - spots[1][0]) * along[0] + (y - spots[1][1]) * along[1] >= 0.0
        start, end, bulge = (*spots[1:], bulges[1]) if ahead else (*spots[:2], bulges[0])
        if bulge:
            centre, _, _, radius = bulge_to_arc(start, end, bulge)
            aways.append(abs(math.dist((x, y), centre) - radius))
        elif start == end:
            aways.append(math.dist((x, y), start))
        else:
            across = (x - start[0]) * (end[1] - start[1]) - (y - start[1]) * (end[0] - start[0])
            aways.append(abs(across) / math.dist(start, end))
    return max(aways)


def flatten_cubic(control: Sequence[tuple[float, float]], chords: int) -> list[tuple[float, float]]:
    """Points of a cubic Bezier curve at even parameters, its start included: de Casteljau's construction."""

    def between(points: Sequence[tuple[float, float]], t: float) -> tuple[float, float]:
        if len(points) == 1:
            return points[0]
        pairs = itertools.pairwise(points)
        return between([(a + (c - a) * t, b + (d - b) * t) for (a, b), (c, d) in pairs], t)

    return [between(control, k / chords) for k in range(chords + 1)]


# --- nesting --------------------------------------------------------------------------------------


def least_money(need: float, priced: Sequence[tuple[float, float]]) -> float:
    """Cheapest set of sheets (area, price) that covers an area: every combination is tried."""
    ranges = [range(math.ceil(need / area) + 1) for area, _ in priced]
    return min(
        sum(n * price for n, (_, price) in zip(counts, priced, strict=True))
        for counts in itertools.product(*ranges)
        if sum(n * area for n, (area, _) in zip(counts, priced, strict=True)) >= need - 1e-6
    )


def cut_up_anyhow(
    size: tuple[float, float], largest: tuple[float, float], chance: random.Random
) -> list[tuple[float, float]]:
    """Pieces of a sheet, each cut right across somewhere until none is too large; some once more."""
    todo, done = [size], []
    while todo:
        width, height = todo.pop()
        if width <= largest[0] and height <= largest[1] and chance.random() < 0.9:
            done.append((width, height))
            continue
        at = chance.choice((chance.random(), 0.5))
        if width > largest[0] and (height <= largest[1] or chance.random() < 0.5):
            at = largest[0] / width if chance.random() < 0.5 else at
            todo += [(at * width, height), ((1.0 - at) * width, height)]
        else:
            at = largest[1] / height if height > largest[1] and chance.random() < 0.5 else at
            todo += [(width, at * height), (width, (1.0 - at) * height)]
    return done


def best_weight(
    sizes: Sequence[tuple[float, float]], turned: bool, room: tuple[float, float], gap: float
) -> float:
    """The most that any two dual-feasible functions make of some rectangles on a sheet, one at a time."""
    from nestkit.nesting.bounds_functions import functions

    slack = 0.03
    longer = max(gap / math.sqrt(2.0) - slack, -slack)
    full = [side + gap / math.sqrt(2.0) + slack for side in room]
    ways = []
    for width, height in sizes:
        both = [(width, height), (height, width)] if turned else [(width, height)]
        fitting = [(w, h) for w, h in both if w <= room[0] + slack and h <= room[1] + slack]
        ways.append([(max(w + longer, 0.0) / full[0], max(h + longer, 0.0) / full[1]) for w, h in fitting])
    weight: list[dict[float, float]] = [{}, {}]
    for axis in (0, 1):
        for way in ways:
            for share in {round(one[axis], 4) for one in way}:
                if 0.05 < share < 1.0:
                    weight[axis][share] = weight[axis].get(share, 0.0) + share
    ranked = [[share for _, share in sorted((-worth, share) for share, worth in of.items())] for of in weight]
    best = 0.0
    for f in functions(ranked[0]):
        for g in functions(ranked[1]):
            in_all = 0.0
            for way in ways:
                values = [float(f.of(np.array([x]))[0] * g.of(np.array([y]))[0]) for x, y in way]
                in_all += min(values, default=0.0)
            best = max(best, in_all)
    return best


def boxes_inside(polygon: Polygon, count: int) -> list[tuple[float, float]]:
    """Sizes of upright boxes inside a polygon, with their corners on a grid."""
    from shapely.geometry import box

    x0, y0, x1, y1 = polygon.bounds
    xs, ys = np.linspace(x0, x1, count + 1), np.linspace(y0, y1, count + 1)
    found = []
    for i in range(count):
        for j in range(count):
            reach = count
            for k in range(i + 1, count + 1):
                while reach > j and not polygon.covers(box(xs[i], ys[j], xs[k], ys[reach])):
                    reach -= 1
                if reach <= j:
                    break
                found.append((float(xs[k] - xs[i]), float(ys[reach] - ys[j])))
    return found


def discs_lie_together(
    radii: Sequence[float], room: tuple[float, float], gap: float, chance: random.Random, tries: int = 300
) -> bool:
    """Whether discs that are thrown into a room, often against its walls, ever keep the gap."""
    for _ in range(tries):
        middles = []
        for radius in radii:
            spans = [side - 2.0 * radius for side in room]
            if min(spans) < 0.0:
                return False
            middles.append([radius + span * chance.choice((0.0, 1.0, chance.random())) for span in spans])
        if all(
            math.dist(middles[i], middles[j]) >= radii[i] + radii[j] + gap
            for i in range(len(radii))
            for j in range(i)
        ):
            return True
    return False


def fewest_bins(need: float, rooms: Sequence[tuple[float, int]]) -> int | None:
    """How few bins have so much room in all, out of so many of each room; None when all have not."""
    found = [
        sum(counts)
        for counts in itertools.product(*(range(most + 1) for _, most in rooms))
        if sum(n * room for n, (room, _) in zip(counts, rooms, strict=True)) >= need - 1e-6
    ]
    return min(found, default=None)


def lie_together(
    one: Polygon,
    other: Polygon,
    turns: Sequence[float],
    room: tuple[float, float],
    gap: float,
    seed: int,
    tries: int = 300,
) -> bool:
    """Whether throwing two polygons into a room at random ever leaves them apart, by a gap, and inside."""
    from shapely import affinity

    chance = np.random.default_rng(seed)
    for _ in range(tries):
        placed = []
        for polygon in (one, other):
            turned = affinity.rotate(polygon, float(chance.choice(turns)), origin=(0, 0), use_radians=True)
            x0, y0, x1, y1 = turned.bounds
            spare = (room[0] - (x1 - x0), room[1] - (y1 - y0))
            if min(spare) < 0.0:
                break
            # Corners are likelier to leave room than the middle.
            x, y = (chance.choice([0.0, 1.0, chance.random()]) * each for each in spare)
            placed.append(affinity.translate(turned, x - x0, y - y0))
        if len(placed) == 2 and placed[0].distance(placed[1]) >= max(gap, 1e-6):
            return True
    return False


def largest_clique(counts: Sequence[int], pairs: Sequence[tuple[int, int]]) -> int:
    """Most copies no two of which may be together: every set of groups is tried."""
    apart = {frozenset(pair) for pair in pairs}
    best = 0
    for size in range(1, len(counts) + 1):
        for some in itertools.combinations(range(len(counts)), size):
            if all(frozenset(pair) in apart for pair in itertools.combinations(some, 2)):
                best = max(best, sum(counts[k] if frozenset((k,)) in apart else 1 for k in some))
    return best


def cheapest_bins(copies: Sequence[float], kinds: Sequence[tuple[float, float, int]]) -> float | None:
    """Least price of bins (price, room, how many) that hold numbers: every way to put them in is tried."""
    bins = [(price, room) for price, room, most in kinds for _ in range(most)]
    best: float | None = None

    def put(k: int, loads: list[float]) -> None:
        nonlocal best
        if k == len(copies):
            price = sum(bins[b][0] for b, load in enumerate(loads) if load > 0.0)
            best = price if best is None else min(best, price)
            return
        seen = set()
        for b, (price, room) in enumerate(bins):
            alike = (price, room, loads[b])
            if alike not in seen and loads[b] + copies[k] <= room + 1e-9:
                seen.add(alike)
                put(k + 1, [*loads[:b], loads[b] + copies[k], *loads[b + 1 :]])

    put(0, [0.0] * len(bins))
    return best


def rectangles_fit(
    ways: Sequence[Iterable[tuple[int, int]]], rooms: Sequence[tuple[int, int]], longer: int
) -> bool:
    """Whether rectangles, each in one of its ways, fit rooms that are longer by so much: each place is tried.

    A layout may be pushed to the left and down until each rectangle stops at another or at the edge: then
    its corner lies at sums of others' sides.
    """
    sides = [{side for way in each for side in way} for each in ways]
    sums = {0}
    for some in sides:
        sums |= {total + side for total in sums for side in some}
    rooms = [(w + longer, h + longer) for w, h in rooms]

    def put(k: int, laid: list[tuple[int, int, int, int, int]]) -> bool:
        if k == len(ways):
            return True
        for r, (width, height) in enumerate(rooms):
            for w, h in ways[k]:
                for x in sums:
                    for y in sums:
                        if x + w > width or y + h > height:
                            continue
                        apart = all(
                            r != room or x + w <= a or a + c <= x or y + h <= b or b + d <= y
                            for room, a, b, c, d in laid
                        )
                        if apart and put(k + 1, [*laid, (r, x, y, w, h)]):
                            return True
        return False

    return put(0, [])


# --- stock ----------------------------------------------------------------------------------------


def wide_places(
    sheet: Outline, taken: Sequence[Outline], radius: float, step: float
) -> list[tuple[float, float]]:
    """Points of a grid about which a disc of `radius` lies on the sheet and on none of the parts."""
    room, parts = sheet.polygon(0.001), [part.polygon(0.001) for part in taken]
    x0, y0, x1, y1 = room.bounds
    return [
        (float(x), float(y))
        for x in np.arange(x0, x1, step)
        for y in np.arange(y0, y1, step)
        if room.contains(Point(x, y).buffer(radius))
        and all(part.distance(Point(x, y)) > radius for part in parts)
    ]


# --- overlap engine -------------------------------------------------------------------------------


def separating_depth(one: np.ndarray, other: np.ndarray) -> float:
    """How far convex `one` must move, along an edge normal of either, to leave convex `other`; 0 if apart."""
    depths = []
    for ring, sign in ((one, 1.0), (other, -1.0)):
        for k in range(len(ring)):
            edge = ring[(k + 1) % len(ring)] - ring[k]
            normal = sign * np.array([edge[1], -edge[0]]) / np.hypot(*edge)
            depths.append(max(one @ normal) - min(other @ normal))
    return max(0.0, float(min(depths)))


def cover_depths(one: Sequence[np.ndarray], other: Sequence[np.ndarray]) -> list[float]:
    """`separating_depth` of all pairs of convex pieces."""
    return [separating_depth(a, b) for a in one for b in other]


def greedy_choice(inside: np.ndarray, weights: np.ndarray, least: float) -> list[int]:
    """Rows of `inside`, each the first of those that add most weight to the ones before it."""
    bare, chosen = set(range(len(weights))), []
    while len(inside):
        adds = [math.fsum(weights[m] for m in bare if row[m]) for row in inside]
        best = adds.index(max(adds))
        if adds[best] <= least:
            break
        chosen.append(best)
        bare -= set(np.flatnonzero(inside[best]))
    return chosen


def bounds_of_half_planes(planes: Sequence[Sequence[float]]) -> tuple[float, float, float, float]:
    """Bounds of the bounded set of points with nx x + ny y <= c for every row: all crossings are tried."""
    spots = []
    for (ax, ay, ac), (bx, by, bc) in itertools.combinations(planes, 2):
        cross = ax * by - bx * ay
        if abs(cross) < 1e-9:
            continue
        x, y = (ac * by - bc * ay) / cross, (ax * bc - bx * ac) / cross
        if all(nx * x + ny * y <= c + 1e-7 for nx, ny, c in planes):
            spots.append((x, y))
    xs, ys = zip(*spots, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def boxes_near(boxes: np.ndarray, box: Sequence[float], but: int) -> set[int]:
    """Numbers of the boxes x0, y0, x1, y1 that overlap `box`, without number `but`."""
    x0, y0, x1, y1 = box
    return {
        k
        for k, (a0, b0, a1, b1) in enumerate(boxes)
        if k != but and a0 < x1 and a1 > x0 and b0 < y1 and b1 > y0
    }


def fewer(ring: np.ndarray, tolerance: float) -> np.ndarray:
    """Corners of a ring made fewer outward, the least change first: all changes are looked at each time."""
    points = ring
    while len(points) > 4:
        b, c = np.roll(points, -1, axis=0), np.roll(points, -2, axis=0)
        ab, bc = b - points, c - b
        cd = np.roll(bc, -1, axis=0)
        turn = ab[:, 0] * bc[:, 1] - ab[:, 1] * bc[:, 0]
        turn_c = np.roll(turn, -1)
        length = np.maximum(np.hypot(*bc.T), 1e-12)
        chord = np.maximum(np.hypot(*(c - points).T), 1e-12)
        cross = ab[:, 0] * cd[:, 1] - ab[:, 1] * cd[:, 0]
        meets = (turn_c > 0.0) & (cross > 1e-9 * np.hypot(*ab.T) * np.hypot(*cd.T))
        along = turn_c / np.where(meets, cross, 1.0)
        tip = b + along[:, None] * ab
        off = np.where(turn <= 0.0, np.abs(turn) / chord, np.where(meets, along * turn / length, np.inf))
        k = int(np.argmin(off))
        if off[k] >= tolerance:
            break
        changed = points.copy()
        gone = (k + 1) % len(points)
        if turn[k] > 0.0:
            changed[gone] = tip[k]
            gone = (k + 2) % len(points)
        points = np.delete(changed, gone, axis=0)
    return points


# --- folds ----------------------------------------------------------------------------------------


def painted(
    segments: Sequence[tuple[tuple[float, float], tuple[float, float]]],
    halves: Sequence[float],
    side: float,
    step: float,
) -> list[list[bool]]:
    """Which squares of a square sheet lie beside a segment and no farther from it than its half width."""
    count = round(side / step)
    rows = []
    for j in range(count):
        row = []
        for i in range(count):
            x, y = (i + 0.5) * step, (j + 0.5) * step
            hit = False
            for ((x0, y0), (x1, y1)), half in zip(segments, halves, strict=True):
                length = math.hypot(x1 - x0, y1 - y0)
                along = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length
                off = abs((x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)) / length
                hit = hit or (0.0 <= along <= length and off <= half)
            row.append(hit)
        rows.append(row)
    return rows


def shortest_order(
    ways: Sequence[Sequence[tuple[tuple[float, float], tuple[float, float]]]],
    waits: Sequence[int | None],
    blocks: Sequence[int],
    start: tuple[float, float],
) -> float:
    """Least travel over all orders and all ways: a task has (entry, exit) pairs, and maybe one waits."""
    best = math.inf
    for order in itertools.permutations(range(len(ways))):
        turn = {task: place for place, task in enumerate(order)}
        if any(wait is not None and turn[wait] < turn[task] for task, wait in enumerate(waits)):
            continue
        if any(blocks[a] > blocks[b] for a, b in itertools.pairwise(order)):
            continue
        reached = {start: 0.0}
        for task in order:
            after: dict[tuple[float, float], float] = {}
            for entry, leave in ways[task]:
                length = min(done + math.dist(at, entry) for at, done in reached.items())
                after[leave] = min(length, after.get(leave, math.inf))
            reached = after
        best = min(best, *reached.values())
    return best


def table_depths(shapes: Shapes, pair: int, dx: float, dy: float) -> list[float]:
    """Depths of a displacement in the convex sets of a pair of shapes: the least over all half planes."""
    depths = []
    for q in range(shapes.pair_at[pair], shapes.pair_at[pair + 1]):
        rows = shapes.planes[shapes.poly_at[q] : shapes.poly_at[q + 1]]
        depths.append(max(0.0, min(float(c - nx * dx - ny * dy) for nx, ny, c in rows)))
    return depths


def table_depth(shapes: Shapes, pair: int, dx: float, dy: float) -> float:
    """Depth of a pair of shapes at a displacement: the root of the sum of the squares of `table_depths`."""
    total = 0.0
    for depth in table_depths(shapes, pair, dx, dy):
        total += depth * depth
    return math.sqrt(total)
