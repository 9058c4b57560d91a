"""Made-up foam parts for the benchmarks: the kinds of outline that props are cut from, with a seed."""

from __future__ import annotations

import math

import numpy as np
from shapely.geometry import Polygon

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path
from nestkit.nesting.problem import Bin, Item

QUARTERS = Turns(tuple(k * math.pi / 2.0 for k in range(4)))
ANY = Turns(None)


def _strap(chance: np.random.Generator) -> Outline:
    """A long strip with round ends."""
    long, r = chance.uniform(180, 420), chance.uniform(12, 28)
    return Outline(Path(np.array([[0, 0, 0], [long, 0, 1], [long, 2 * r, 0], [0, 2 * r, 1]], float), True))


def _ring(chance: np.random.Generator) -> Outline:
    """A disc with a large hole: a lantern's rim."""
    r = chance.uniform(50, 110)
    return Outline(Path.circle(0, 0, r), (Path.circle(0, 0, r * chance.uniform(0.5, 0.8)),))


def _gore(chance: np.random.Generator) -> Outline:
    """One of the slices that a bell is bent from: a slim lens with a flat foot."""
    tall, wide = chance.uniform(160, 320), chance.uniform(25, 60)
    t = np.linspace(0.0, 1.0, 16)
    half = wide * np.sin(np.pi * (0.15 + 0.85 * t)) ** 0.8
    half[-1] = 0.0
    right = np.column_stack((half, tall * t))
    return Outline(Path.polyline(np.vstack((right, right[-2::-1] * (-1.0, 1.0))), True))


def _lobed(chance: np.random.Generator, points: int = 48) -> Outline:
    """A shell's plate: round with a few waves."""
    angle = np.arange(points) / points * math.tau
    radius = chance.uniform(55, 120) * (
        1.0
        + chance.uniform(0.05, 0.2) * np.cos(2 * angle + chance.uniform(0, 6))
        + chance.uniform(0.02, 0.12) * np.cos(chance.integers(3, 6) * angle + chance.uniform(0, 6))
    )
    return Outline(Path.polyline(np.column_stack((radius * np.cos(angle), radius * np.sin(angle))), True))


def _blade(chance: np.random.Generator) -> Outline:
    """A halberd's blade: a bulging edge and a hollow back."""
    tall, neck = chance.uniform(180, 340), chance.uniform(60, 100)
    out, hollow = chance.uniform(0.2, 0.4), chance.uniform(0.05, 0.15)
    rows = [[neck, 0, out], [neck, tall, 0], [0, tall, -hollow], [0, 0, 0]]
    return Outline(Path(np.array(rows, float), True))


def _bracket(chance: np.random.Generator) -> Outline:
    """An L with arms of different width."""
    a, b = chance.uniform(90, 220, 2)
    s, t = chance.uniform(20, 50, 2)
    return Outline(Path.polyline([(0, 0), (a, 0), (a, s), (t, s), (t, b), (0, b)], True))


def _panel(chance: np.random.Generator) -> Outline:
    """A lantern's panel: a trapezium, half of them with a window."""
    wide, tall, slope = chance.uniform(90, 200), chance.uniform(80, 220), chance.uniform(0.05, 0.25)
    outer = Polygon([(0, 0), (wide, 0), (wide * (1 - slope), tall), (wide * slope, tall)])
    holes = []
    if chance.random() < 0.5:
        holes = [Path.polyline(np.array(outer.buffer(-22.0, join_style="mitre").exterior.coords)[:-1], True)]
    return Outline(Path.polyline(np.array(outer.exterior.coords)[:-1], True), tuple(holes))


def _claw(chance: np.random.Generator) -> Outline:
    """A crab's claw: two curves that meet in a point, with a bite taken out."""
    long, wide = chance.uniform(140, 280), chance.uniform(60, 110)
    t = np.linspace(0.0, 1.0, 14)
    upper = np.column_stack((long * t, wide * np.sin(np.pi * t**0.7) * 0.7 + 0.2 * wide * t))
    lower = np.column_stack((long * t, -wide * 0.6 * np.sin(np.pi * t**0.6) * (1 - 0.9 * t)))
    tip = np.array([[0.55 * long, 0.05 * wide]])
    ring = np.vstack((lower[:-1], upper[-1:] - (0, 0.1 * wide), tip, upper[-2:0:-1]))
    shape = Polygon(ring).buffer(0.0)
    return Outline(Path.polyline(np.array(shape.exterior.coords)[:-1], True))


_MAKERS = (_strap, _ring, _gore, _lobed, _blade, _bracket, _panel, _claw)


def job(copies: int, kinds: int, seed: int, turns: Turns = QUARTERS, size: float = 1.0) -> list[Item]:
    """So many parts of so many kinds, all sizes times ``size``; every kind of outline in turn."""
    chance = np.random.default_rng(seed)
    outlines = [_MAKERS[k % len(_MAKERS)](chance) for k in range(kinds)]
    outlines = [o.transformed(np.array([[size, 0.0, 0.0], [0.0, size, 0.0]])) for o in outlines]
    chosen = np.concatenate((np.arange(kinds), chance.integers(0, kinds, max(copies - kinds, 0))))[:copies]
    return [Item(outlines[k], turns, kind=int(k)) for k in sorted(chosen)]


def curved(copies: int, points: int, seed: int, turns: Turns = QUARTERS) -> list[Item]:
    """So many lobed plates, all different up to eight kinds, with ``points`` corners each."""
    chance = np.random.default_rng(seed)
    outlines = [_lobed(chance, points) for _ in range(min(8, copies))]
    return [Item(outlines[k % len(outlines)], turns, kind=k % len(outlines)) for k in range(copies)]


def sheet(width: float, height: float) -> Bin:
    """A rectangular sheet, mm."""
    return Bin(Outline(Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True)))


def offcut() -> Bin:
    """What is left of a sheet of 1200 x 600 after a costume: slanted, notched, with a hole."""
    edge = [(0, 0), (1150, 0), (1090, 260), (860, 240), (780, 560), (240, 600), (0, 420)]
    return Bin(Outline(Path.polyline(edge, True), (Path.circle(520, 300, 75),)))
