"""Draws each pattern flat and refolded, from the code that cuts it.

``pip install 'nestkit[docs]'``, then ``python samples/patterns/draw.py`` writes the pictures beside it.
Patterns are those of the samples `lantern` and `halberd`.
"""

from __future__ import annotations

import math
from pathlib import Path as FilePath

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
from mpl_toolkits.mplot3d.art3d import Poly3DCollection

from nestkit.geometry import LineKind, Outline, Path, Shape
from nestkit.patterns import (
    Box,
    Cone,
    Dome,
    EdgeStrip,
    Foam,
    Pattern,
    Prism,
    Pyramid,
    Ridge,
    Ring,
    Stack,
    Window,
    Wrap,
    refold,
)

HERE = FilePath(__file__).parent

#: Elevation and azimuth of the eye, degrees, and its direction in plan.
VIEW = (25, -60)
EYE = np.array([math.cos(math.radians(VIEW[1])), math.sin(math.radians(VIEW[1])), 0.0])

# Okabe-Ito colours, as in the cutter files.
FOAM, INK = "#f3e6cf", "#000000"
COLOURS = {LineKind.MARK: "#0072b2", LineKind.FOLD: "#d55e00", LineKind.BEVEL: "#009e73"}


def base_outline() -> Path:
    """The lantern's base: rounded corners, a hollow in two sides."""
    b = math.tan(math.pi / 8.0)
    rows = [
        (20, 0, 0), (80, 0, 0), (100, 12, 0), (140, 12, 0), (160, 0, 0), (220, 0, b),
        (240, 20, 0), (240, 200, b), (220, 220, 0), (160, 220, 0), (140, 208, 0), (100, 208, 0),
        (80, 220, 0), (20, 220, b), (0, 200, 0), (0, 20, b),
    ]  # fmt: skip
    return Path(np.array(rows, dtype=float), True)


def patterns() -> dict[str, Pattern]:
    """One of each, with the sizes of the samples."""
    thin, foam, thick = Foam(4.0), Foam(6.0), Foam(10.0)
    pane = Path(np.array([(0, 0, 0), (60, 0, 0), (60, 70, 1.0), (0, 70, 0)], dtype=float), True)
    windows = (Window((pane,), (1, 3, 5)), Window((Path.circle(0.0, 0.0, 24.0),), (2, 4, 6)))
    leaf = Path(np.array([(0, 0, 0.45), (140, 0, 0.45)]), True)
    base = base_outline()
    return {
        "cone": Cone(thin, 230.0, 84.0, 80.0, bevel=True).develop(),
        "dome": Dome(thin, 76.5, "inside", 6, 3, math.radians(-15.0), math.radians(60.0), cap=True).develop(),
        "ring": Ring(thick, 35.6, 8.4, 60.0).develop(),
        "wrap": Wrap(Foam(2.0), 40.0, 40.0, 160.0, 2).develop(),
        "edge_strip": EdgeStrip(thin, base, 30.0, start="left").develop(),
        "lining": EdgeStrip(foam, pane, 10.0, inner=True).develop(),
        "ridge": Ridge(
            thin, Shape(Outline(leaf)), Path.polyline([(0, 0), (140, 0)], False), peak=12.0
        ).develop(),
        "stack": Stack(thick, Shape(Outline(base)), 30.0, (Path.circle(120.0, 110.0, 20.25),)).develop(),
        "prism": Prism(foam, 6, 170.0, 200.0, lids=1, lid="in", windows=windows).develop(),
        "pyramid": Pyramid(thin, 4, 50.0, 70.0).develop(),
        "box": Box(foam, 200.0, 180.0, 40.0, lids=1, lid="in").develop(),
    }


def draw_flat(axes: plt.Axes, pattern: Pattern) -> None:
    """The flat pieces above each other, with how often each is cut."""
    top = 0.0
    for piece in pattern.pieces:
        x0, y0, x1, y1 = piece.shape.outline.bounds
        move = np.array([-(x0 + x1) / 2.0, top - y1])
        for k, ring in enumerate(piece.shape.outline.rings()):
            points = ring.flatten(0.01) + move
            axes.fill(*points.T, facecolor=FOAM if k == 0 else "white", edgecolor=INK, linewidth=0.8)
        for line in piece.shape.lines:
            points = line.path.flatten() + move
            axes.plot(*points.T, color=COLOURS[line.kind], linewidth=1.4)
        name = f"{piece.suffix or pattern.kind} x {piece.quantity}"
        axes.annotate(name, (np.array(piece.label) + move), ha="center", va="center", fontsize=7)
        top -= (y1 - y0) + 12.0
    axes.set_aspect("equal")
    axes.set_xlabel("mm")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def layers(pattern: Pattern) -> list[np.ndarray]:
    """A pattern that stays flat, piled up: the walls of its layers."""
    thickness = pattern.height / sum(piece.quantity for piece in pattern.pieces)
    first, rest = pattern.pieces[0], pattern.pieces[1:]
    pile = [first] * first.quantity
    for piece in rest:
        pile = [pile[0], *[piece] * piece.quantity, *pile[1:]]
    walls = []
    for k, piece in enumerate(pile):
        for ring in piece.shape.outline.rings():
            points = ring.flatten(0.05)
            after = np.roll(points, -1, axis=0)
            low, high = k * thickness, (k + 1) * thickness
            for a, b in zip(points, after, strict=True):
                walls.append(np.array([[*a, low], [*b, low], [*b, high], [*a, high]]))
    if not pile[-1].shape.outline.holes:
        top = pile[-1].shape.outline.exterior.flatten()
        walls.append(np.column_stack((top, np.full(len(top), pattern.height))))
    return walls


def draw_closed(axes: plt.Axes, pattern: Pattern) -> str:
    """The closed pattern in space; returns what is said about it."""
    closed = refold(pattern)
    surfaces = layers(pattern) if closed is None else list(closed.surfaces)
    # A folded strip stands on its side as it is folded: its panels' height becomes upright.
    if pattern.kind in ("prism", "box"):
        surfaces = [stood_up(surface) for surface in surfaces]
    if pattern.kind in ("dome", "pyramid"):
        surfaces = [surface @ upright(surfaces) for surface in surfaces]
    many = len(surfaces) > 40
    colours = [FOAM] * len(surfaces)
    if closed is not None and closed.holes:
        middle = np.vstack(surfaces).mean(axis=0)
        for hole in closed.holes:
            turned = stood_up(hole)
            outward = turned.mean(axis=0) - middle
            if abs(outward @ EYE) < 0.3 * np.hypot(*outward[:2]):
                continue  # seen edge-on
            # A little in front of its panel, so that it is drawn over it.
            surfaces.append(turned + outward * 0.06)
            colours.append("white")
    axes.add_collection3d(
        Poly3DCollection(
            surfaces, facecolors=colours, edgecolor=INK, linewidth=0.15 if many else 0.6, alpha=0.9
        )
    )
    spots = np.vstack(surfaces)
    low, high = spots.min(axis=0), spots.max(axis=0)
    half = (high - low).max() / 2.0
    middle = (high + low) / 2.0
    for limit, at in zip((axes.set_xlim, axes.set_ylim, axes.set_zlim), middle, strict=True):  # type: ignore[attr-defined]
        limit(at - half, at + half)
    axes.set_box_aspect((1, 1, 1), zoom=1.25)  # type: ignore[arg-type]
    axes.view_init(*VIEW)  # type: ignore[attr-defined]
    axes.set_axis_off()
    return "stays flat" if closed is None else f"refolding gap {closed.gap:.3f} mm"


def stood_up(points: np.ndarray) -> np.ndarray:
    """Turned a quarter about x, so that what was up on the sheet is up."""
    return points[:, [0, 2, 1]] * [1.0, -1.0, 1.0]


def upright(surfaces: list[np.ndarray]) -> np.ndarray:
    """Turns a dome's axis, about which its facets are spread evenly, upright."""
    spots = np.vstack(surfaces)
    _, vectors = np.linalg.eigh(np.cov(spots.T))
    # Its own axis is the direction in which it is not as wide as in the two others.
    values = np.linalg.eigvalsh(np.cov(spots.T))
    own = int(np.argmax([abs(values[k] - np.delete(values, k).mean()) for k in range(3)]))
    axis = vectors[:, own]
    wide = spots - spots.mean(axis=0)
    reach = np.linalg.norm(wide - np.outer(wide @ axis, axis), axis=1)
    if np.corrcoef(wide @ axis, reach)[0, 1] > 0.0:
        axis = -axis  # the narrow end is up
    side = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    return np.column_stack((side, np.cross(axis, side), axis))


def main() -> None:
    """Writes one picture for each pattern."""
    for name, pattern in patterns().items():
        widest = max(piece.shape.outline.size[0] for piece in pattern.pieces)
        tall = sum(piece.shape.outline.size[1] for piece in pattern.pieces)
        # A long strip gets the whole width, and the closed pattern stands below it.
        rows, columns, size = (2, 1, (9.0, 6.0)) if widest > 8.0 * tall else (1, 2, (9.0, 4.2))
        figure = plt.figure(figsize=size, dpi=110)
        draw_flat(figure.add_subplot(rows, columns, 1), pattern)
        space = figure.add_subplot(rows, columns, 2, projection="3d")
        if rows > 1:
            space.set_position((0.1, -0.05, 0.8, 0.65))
            space.patch.set_alpha(0.0)
        said = draw_closed(space, pattern)
        figure.suptitle(f"{name}: flat (inside up), and closed; {said}", fontsize=10)
        for kind, colour in COLOURS.items():
            figure.axes[0].plot([], [], color=colour, label=str(kind))
        figure.legend(loc="lower right", ncols=3, fontsize=8, frameon=False)
        figure.savefig(HERE / f"{name}.png", metadata={"Software": None})
        plt.close(figure)


if __name__ == "__main__":
    main()
