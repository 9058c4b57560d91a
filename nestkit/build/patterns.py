"""From a pattern's table to its flat pieces: sizes scaled or taken from hardware, outlines referred to.

Numbers scale. Foam thickness, hardware, a size that names hardware, and the fit never do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from nestkit.build import pattern_tables as pt
from nestkit.build.developed import Developed, Edge
from nestkit.build.draft import Draft
from nestkit.build.mistakes import Mistakes, listed, nearest
from nestkit.build.places import Keys
from nestkit.build.sources import Sources
from nestkit.geometry import CURVE_FLATNESS, Path, Shape
from nestkit.geometry.affine import scaling
from nestkit.patterns import (
    CLOSED,
    Box,
    Cone,
    Dome,
    EdgeStrip,
    Foam,
    Pattern,
    PatternError,
    Prism,
    Pyramid,
    Ridge,
    Ring,
    Stack,
    Window,
    Wrap,
    line_openings,
    refold,
)
from nestkit.units import mm_per

Sides = Literal["inside", "outside"]


class _ToldError(Exception):
    """A mistake in this pattern has been told already."""


@dataclass(frozen=True)
class PatternMaker:
    """Develops the patterns of one build file at a scale.

    Parameters
    ----------
    draft : Draft
    sources : Sources
    scale : float
    mistakes : Mistakes
    """

    draft: Draft
    sources: Sources
    scale: float
    mistakes: Mistakes

    def make(self, index: int, foam: Foam, edges: Mapping[str, Edge]) -> Developed | None:
        """The pattern of part ``index``; None when something about it is wrong, which is told then.

        It is closed again from its flat pieces, and refused when they leave a gap.

        Parameters
        ----------
        index : int
        foam : Foam
        edges : mapping of str to Edge
            Parts that an edge strip may name.
        """
        table = self.draft.file.part[index]
        assert isinstance(table, pt.PatternBase)
        if any(key[:2] == ("part", index) for key in self.draft.doubtful) or not self.draft.sure("hardware"):
            return None
        foam = replace(foam, unit=self.draft.unit)
        job = _Job(self, index)
        try:
            pattern = job.pattern(table, foam, edges)
        except _ToldError:
            return None
        except PatternError as error:
            key = "from" if error.key == "around" and getattr(table, "source", None) else error.key
            self.mistakes.add(("part", index, key), error.what, error.todo)
            return None
        closed = refold(pattern)
        gap = None if closed is None else closed.gap
        if gap is not None and not gap <= CLOSED:
            self.mistakes.add(
                ("part", index, "pattern"),
                f"its flat pieces would leave a gap of {foam.told(gap, 3)} when closed; "
                f"{foam.told(CLOSED)} is the most",
                "Take other sizes or thinner foam",
            )
            return None
        return Developed(pattern, gap)


class _Job:
    """One pattern; each method of a table's name reads that table."""

    def __init__(self, maker: PatternMaker, index: int) -> None:
        self._draft, self._sources, self._mistakes = maker.draft, maker.sources, maker.mistakes
        self._scale, self._mm = maker.scale, mm_per(maker.draft.unit)
        self._index, self._fit = index, 0.0

    def pattern(self, table: pt.PatternBase, foam: Foam, edges: Mapping[str, Edge]) -> Pattern:
        """The developed pattern."""
        self._fit = (table.fit or 0.0) * self._mm
        if table.mirrored_pairs and self._is_its_own_mirror_image(table):
            raise self._tell(
                "mirrored_pairs",
                "each of its pieces is its own mirror image",
                "Leave mirrored_pairs out",
            )
        if isinstance(table, pt.EdgeStripTable):
            return self._edge_strip(table, foam, edges)
        makers: dict[type, Callable[[Any, Foam], Pattern]] = {
            pt.ConeTable: self._cone,
            pt.DomeTable: self._dome,
            pt.RingTable: self._ring,
            pt.WrapTable: self._wrap,
            pt.RidgeTable: self._ridge,
            pt.StackTable: self._stack,
            pt.PrismTable: self._prism,
            pt.BoxTable: self._box,
            pt.PyramidTable: self._pyramid,
        }
        return makers[type(table)](table, foam)

    @staticmethod
    def _is_its_own_mirror_image(table: pt.PatternBase) -> bool:
        if isinstance(table, pt.PanelsBase):
            return not table.windows
        alike = pt.ConeTable | pt.DomeTable | pt.RingTable | pt.WrapTable | pt.PyramidTable
        return isinstance(table, alike)

    # --- sizes ---

    def _loc(self, key: str) -> Keys:
        return ("part", self._index, key)

    def _tell(self, key: str, what: str, todo: str = "") -> _ToldError:
        self._mistakes.add(self._loc(key), what, todo)
        return _ToldError()

    def _scaled(self, value: float) -> float:
        return value * self._mm * self._scale

    def _length(self, value: float | None) -> float | None:
        return None if value is None else self._scaled(value)

    def _hardware(self, key: str, name: str, what: str) -> float:
        """A size of a piece of hardware, mm: ``diameter``, ``inner_diameter`` or ``length``."""
        known = self._draft.file.hardware
        if name not in known:
            others = (
                f"The hardware is {listed(known)}" if known else f"Add [hardware.{name}] with its diameter"
            )
            raise self._tell(key, f"there is no hardware '{name}'", nearest(name, known) or others)
        if not self._draft.sure("hardware", name, what):
            raise _ToldError
        value: float | None = getattr(known[name], what)
        if value is None:
            raise self._tell(key, f"hardware '{name}' has no {what}", f"Add it under [hardware.{name}]")
        return value * self._mm

    def _over(self, key: str, value: float | str) -> float:
        """A diameter, mm; that of hardware that goes inside, with the fit."""
        if isinstance(value, str):
            return self._hardware(key, value, "diameter") + self._fit
        return self._scaled(value)

    def _along(self, key: str, value: float | str) -> float:
        """A length, mm; that of hardware as it is."""
        return self._hardware(key, value, "length") if isinstance(value, str) else self._scaled(value)

    @staticmethod
    def _side(value: float | str, sizes: Sides) -> Sides:
        return "inside" if isinstance(value, str) else sizes

    # --- patterns ---

    def _cone(self, table: pt.ConeTable, foam: Foam) -> Pattern:
        return Cone(
            foam,
            self._over("lower_diameter", table.lower_diameter),
            self._over("upper_diameter", table.upper_diameter),
            height=self._length(table.height),
            slant=self._length(table.slant),
            lower_side=self._side(table.lower_diameter, table.sizes),
            upper_side=self._side(table.upper_diameter, table.sizes),
            pieces=table.pieces,
            bevel=table.bevel,
        ).develop()

    def _dome(self, table: pt.DomeTable, foam: Foam) -> Pattern:
        return Dome(
            foam,
            self._over("diameter", table.diameter),
            self._side(table.diameter, table.sizes),
            table.gores,
            table.bands,
            math.radians(table.from_latitude),
            math.radians(table.to_latitude),
            table.cap,
        ).develop()

    def _ring(self, table: pt.RingTable, foam: Foam) -> Pattern:
        outer = table.outer_diameter
        if isinstance(outer, str):
            outside = self._hardware("outer_diameter", outer, "inner_diameter") - self._fit
        else:
            outside = self._scaled(outer)
        length = None if table.length is None else self._along("length", table.length)
        return Ring(foam, outside, self._over("inner_diameter", table.inner_diameter), length).develop()

    def _wrap(self, table: pt.WrapTable, foam: Foam) -> Pattern:
        ends = (table.lower_diameter, table.upper_diameter)
        if (table.around is None) == (ends == (None, None)) or (table.around is None and None in ends):
            raise self._tell(
                "around",
                "what it goes round is not clear",
                "Give around for a tube, or lower_diameter and upper_diameter for a cone",
            )
        if table.around is not None:
            lower = upper = self._over("around", table.around)
            if not lower > 0.0:
                raise self._tell("around", "the tube has the diameter 0", "Give its diameter")
        else:
            lower = self._over("lower_diameter", ends[0] or 0.0)
            upper = self._over("upper_diameter", ends[1] or 0.0)
        height = self._along("height", table.height)
        return Wrap(foam, lower, upper, height, table.layers, table.pieces).develop()

    def _drawn(self, text: str) -> Shape:
        piece = self._sources.piece(self._loc("from"), text, CURVE_FLATNESS / self._scale)
        if piece is None:
            raise _ToldError
        return piece.shape.scaled(self._scale)

    def _ridge(self, table: pt.RidgeTable, foam: Foam) -> Pattern:
        shape = self._drawn(table.source)
        line = self._sources.open_path(
            self._loc("centre_line"), table.centre_line, CURVE_FLATNESS / self._scale
        )
        if line is None:
            raise _ToldError
        angle = None if table.angle is None else math.radians(table.angle)
        return Ridge(
            foam, shape, line.transformed(scaling(self._scale)), angle=angle, peak=self._length(table.peak)
        ).develop()

    def _stack(self, table: pt.StackTable, foam: Foam) -> Pattern:
        shape = self._drawn(table.source)
        layers = table.open_layers
        return Stack(
            foam,
            shape,
            self._along("height", table.height),
            self._openings(table, shape),
            layers if isinstance(layers, str) else tuple(layers),
        ).develop()

    def _openings(self, table: pt.StackTable, shape: Shape) -> tuple[Path, ...]:
        if table.opening is None:
            return ()
        if table.opening in self._draft.file.hardware:
            radius = self._over("opening", table.opening) / 2.0
            x0, y0, x1, y1 = shape.outline.bounds
            x, y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
            if table.opening_at is not None:
                x, y = x0 + self._scaled(table.opening_at[0]), y0 + self._scaled(table.opening_at[1])
            return (Path.circle(x, y, radius),)
        if "#" not in table.opening and "." not in table.opening:
            self._hardware("opening", table.opening, "diameter")
        return self._cut_outs(self._loc("opening"), table.opening)

    def _cut_outs(self, loc: Keys, text: str) -> tuple[Path, ...]:
        paths = self._sources.closed_paths(loc, text, CURVE_FLATNESS / self._scale)
        if paths is None:
            raise _ToldError
        return tuple(path.transformed(scaling(self._scale)) for path in paths)

    def _windows(self, tables: list[pt.WindowTable]) -> tuple[Window, ...]:
        found = []
        for number, table in enumerate(tables):
            paths = self._cut_outs(("part", self._index, "windows", number, "from"), table.source)
            panels = None if table.panels is None else tuple(table.panels)
            at = None if table.at is None else (self._scaled(table.at[0]), self._scaled(table.at[1]))
            found.append(Window(paths, panels, at, "windows"))
        return tuple(found)

    def _prism(self, table: pt.PrismTable, foam: Foam) -> Pattern:
        return Prism(
            foam,
            table.panels,
            self._over("across_flats", table.across_flats),
            self._scaled(table.height),
            self._side(table.across_flats, table.sizes),
            table.lids,
            table.lid,
            self._windows(table.windows),
        ).develop()

    def _pyramid(self, table: pt.PyramidTable, foam: Foam) -> Pattern:
        return Pyramid(
            foam,
            table.sides,
            self._over("across_flats", table.across_flats),
            self._scaled(table.height),
            self._scaled(table.top_across_flats),
            self._side(table.across_flats, table.sizes),
        ).develop()

    def _box(self, table: pt.BoxTable, foam: Foam) -> Pattern:
        sides = {self._side(value, table.sizes) for value in (table.width, table.depth)}
        if len(sides) > 1:
            raise self._tell(
                "sizes",
                "one side is a number measured outside, the other is hardware inside",
                'Write sizes = "inside"',
            )
        return Box(
            foam,
            self._over("width", table.width),
            self._over("depth", table.depth),
            self._scaled(table.height),
            sides.pop(),
            table.lids,
            table.lid,
            self._windows(table.windows),
        ).develop()

    def _edge_strip(self, table: pt.EdgeStripTable, foam: Foam, edges: Mapping[str, Edge]) -> Pattern:
        if (table.around is None) == (table.source is None):
            raise self._tell(
                "around",
                "what it goes round is not clear",
                'Give either around = "part" or from = "file.svg#id"',
            )
        height = None
        if table.around == table.name:
            raise self._tell(
                "around",
                "it is to go round itself",
                'Name the part whose edge it covers, or give from = "file.svg#id"',
            )
        if table.around is not None:
            if table.around not in edges:
                names = [part.name for part in self._draft.file.part]
                if table.around in names:
                    if self._mistakes:
                        raise _ToldError  # most likely that part itself is wrong
                    raise self._tell(
                        "around",
                        f"'{table.around}' has no single flat outline to go round",
                        "Name a drawn part, a stack, a ring or a ridge, or give from",
                    )
                raise self._tell("around", f"there is no part '{table.around}'", nearest(table.around, names))
            edge = edges[table.around]
            shape = edge.shape
            height = edge.height if table.edge == "outer" else edge.inner_height
        else:
            shape = self._drawn(table.source or "")
        shape = shape.at_origin()
        if table.width is not None:
            height = self._along("width", table.width)
        if height is None:
            raise self._tell("width", "is missing", "With from, say how wide the strip is")
        start = table.start
        spot = start if isinstance(start, str) or start is None else tuple(map(self._scaled, start))
        inner = table.edge == "inner"
        paths = shape.outline.holes if inner else (shape.outline.exterior,)
        if not paths and table.source is not None:
            paths = (shape.outline.exterior,)
        if not paths:
            raise self._tell("edge", f"'{table.around}' has no opening", "Leave edge out for its outer edge")
        strips = [
            EdgeStrip(
                foam,
                path,
                height,
                table.hollow,
                spot,  # type: ignore[arg-type]
                math.radians(table.corner_angle),
                inner,
            )
            for path in paths
        ]
        return line_openings(strips) if inner else strips[0].develop()
