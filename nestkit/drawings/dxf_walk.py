"""Walks a DXF file's modelspace and the blocks inserted in it, and collects what is drawn."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from nestkit.drawings.dxf_curves import Curve
from nestkit.drawings.dxf_entities import FLAT, LINE_TYPES, TEXT_TYPES, NotFlat, curve_of
from nestkit.drawings.dxf_look import Layer, Layers, colour_of
from nestkit.drawings.model import DrawnPath
from nestkit.errors import DrawingError, Finding
from nestkit.geometry import affine as af

#: Blocks may be inserted within blocks this deep.
DEEPEST_INSERT = 32

#: A drawing may draw this many paths, blocks inserted many times counted each time.
MOST_PATHS = 200_000

#: A drawing may have this many lines and arcs, curves counted as flattened.
MOST_PIECES = 2_000_000

#: Nothing a maker builds is farther from the origin than this, mm.
FARTHEST = 1e12

#: Kinds that draw nothing at all, so that nothing is lost without them.
_SILENT = frozenset({"ATTDEF", "VIEWPORT", "SEQEND"})


@dataclass(frozen=True, slots=True)
class _Note:
    """What is said about all entities of one kind on one layer."""

    code: str
    what: str
    todo: str
    mended: bool = False


_TEXT = _Note("text-not-paths", "text was left out", "Turn it into paths (curves) in the drawing program.")
_NOT_A_LINE = _Note(
    "not-a-line",
    "left out, because only lines and curves are read",
    "If it is to be cut, draw its edge as a polyline.",
)
_NOT_FLAT = _Note(
    "not-flat", "left out, because it does not lie flat", "Draw it in the x-y plane (one height)."
)
_DAMAGED = _Note(
    "damaged-entity",
    "left out, because it is damaged",
    "Draw it anew, or save the file from another program.",
)
_ZERO = _Note("zero-length", "without any length was dropped", "", mended=True)
_INVISIBLE = _Note("hidden-entity", "invisible, so it was skipped", "Make it visible if it is to be used.")
_HIDDEN = _Note(
    "hidden-layer", "skipped, because the layer is off or frozen", "Switch the layer on if it is to be used."
)
_NO_BLOCK = _Note(
    "block-missing", "left out, because its block is not in the file", "Insert the block again."
)
_CYCLE = _Note("block-cycle", "left out, because its block holds itself", "Explode the block.")
_DEEP = _Note("block-too-deep", "left out, because blocks are nested too deeply", "Explode the outer block.")


@dataclass(slots=True)
class _Count:
    kinds: dict[str, int] = field(default_factory=dict)
    first_id: str = ""


@dataclass(frozen=True, slots=True)
class _Item:
    """An entity as its block holds it: a curve, or an insert of another block."""

    entity: Any
    kind: str
    handle: str
    layer: str
    curve: Curve | None = None


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the walk is: the map to millimetres and what the inserts around hand down."""

    matrix: af.Affine
    layer: str = ""
    colour: str = "#000000"
    frozen: bool = False
    names: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()


class Walk:
    """One walk through a document; `paths` and `findings()` are its harvest.

    Parameters
    ----------
    document : ezdxf.document.Drawing
    file : str
        For messages.
    mm : float
        Millimetres in a drawing unit.
    tolerance : float, mm

    Raises
    ------
    DrawingError
        By `run`, when the drawing is larger than `MOST_PATHS` or `MOST_PIECES`.
    """

    def __init__(self, document: Any, file: str, mm: float, tolerance: float) -> None:
        self.paths: list[DrawnPath] = []
        self._document = document
        self._file = file
        self._tolerance = tolerance
        self._mm = mm
        self._layers = Layers(document)
        self._blocks: dict[str, list[_Item] | None] = {}
        self._notes: dict[tuple[_Note, str], _Count] = {}
        self._visits = 0
        self._pieces = 0

    def run(self) -> None:
        """Collects everything that the modelspace shows."""
        for item in self._items(self._document.modelspace()):
            self._visit(item, _Place(af.scaling(self._mm)))

    def findings(self) -> list[Finding]:
        """What was noticed, one finding a sort and layer, in the order in which it was met."""
        found = []
        for (note, layer), count in self._notes.items():
            kinds = ", ".join(f"{n} {kind}" for kind, n in sorted(count.kinds.items()))
            single = sum(count.kinds.values()) == 1
            found.append(
                Finding(
                    note.code,
                    f"{kinds}: {note.what}",
                    note.todo,
                    mended=note.mended,
                    file=self._file,
                    layer=layer,
                    id=count.first_id if single else "",
                )
            )
        return found

    def _note(self, note: _Note, item: _Item, layer: str) -> None:
        count = self._notes.setdefault((note, layer), _Count(first_id=item.handle))
        count.kinds[item.kind] = count.kinds.get(item.kind, 0) + 1

    def _items(self, layout: Any) -> Iterator[_Item]:
        """The layout's entities; curves are read once, however often their block is inserted."""
        for entity in layout:
            kind = str(entity.dxftype())
            item = _Item(entity, kind, "", "")
            try:
                dxf = entity.dxf
                item = _Item(entity, kind, str(dxf.get("handle") or ""), _text(dxf.get("layer") or "0"))
                if kind not in LINE_TYPES:
                    yield item
                    continue
                yield _Item(entity, kind, item.handle, item.layer, curve_of(entity))
            except NotFlat:
                self._note(_NOT_FLAT, item, item.layer)
            except Exception:  # a damaged entity fails anywhere in ezdxf or the arithmetic
                self._note(_DAMAGED, item, item.layer)

    def _block(self, name: str) -> list[_Item] | None:
        """The entities of a block; None when there is none or it lies in another file."""
        key = name.casefold()
        if key not in self._blocks:
            block = self._document.blocks.get(name)
            known = block is not None and not int(block.block.dxf.get("flags", 0)) & (4 | 8)
            self._blocks[key] = list(self._items(block)) if known else None
        return self._blocks[key]

    def _visit(self, item: _Item, place: _Place) -> None:
        self._visits += 1
        if self._visits > MOST_PATHS:
            raise self._too_large(f"more than {MOST_PATHS:,} lines and inserted blocks")
        name = place.layer if item.layer == "0" and place.layer else item.layer
        layer = self._layers[name]
        if place.frozen or layer.frozen or (layer.off and item.kind != "INSERT"):
            self._note(_HIDDEN, item, name)
        elif int(item.entity.dxf.get("invisible", 0)):
            self._note(_INVISIBLE, item, name)
        elif item.curve is not None:
            self._draw(item, item.curve, name, layer, place)
        elif item.kind == "INSERT":
            self._insert(item, name, layer, place)
        elif item.kind not in _SILENT:
            self._note(_TEXT if item.kind in TEXT_TYPES else _NOT_A_LINE, item, name)

    def _draw(self, item: _Item, curve: Curve, name: str, layer: Layer, place: _Place) -> None:
        try:
            with _quiet():
                path = curve.path(place.matrix, self._tolerance)
            if path is not None and not -FARTHEST < path.vertices.min() <= path.vertices.max() < FARTHEST:
                raise ValueError("too far away")
        except (ValueError, ArithmeticError, MemoryError):
            self._note(_DAMAGED, item, name)
            return
        if path is None:
            self._note(_ZERO, item, name)
            return
        self._pieces += len(path.vertices)
        if self._pieces > MOST_PIECES:
            raise self._too_large(f"more than {MOST_PIECES:,} lines and arcs")
        colour = colour_of(item.entity, layer, place.colour)
        names = (item.handle, name, *place.names) if item.handle else (name, *place.names)
        self.paths.append(DrawnPath(path, name, item.handle, names, colour))

    def _insert(self, item: _Item, name: str, layer: Layer, place: _Place) -> None:
        try:
            block_name = _text(item.entity.dxf.name)
            items = self._block(block_name)
            with _quiet():
                matrices = list(self._insert_maps(item.entity)) if items else []
        except NotFlat:
            self._note(_NOT_FLAT, item, name)
            return
        except DrawingError:
            raise
        except Exception:  # as in `_items`
            self._note(_DAMAGED, item, name)
            return
        for attrib in item.entity.attribs:
            if not int(attrib.dxf.get("invisible", 0)) and not int(attrib.dxf.get("flags", 0)) & 1:
                self._note(_TEXT, _Item(attrib, "ATTRIB", item.handle, name), name)
        key = block_name.casefold()
        if items is None:
            self._note(_NO_BLOCK, item, name)
        elif key in place.blocks:
            self._note(_CYCLE, item, name)
        elif len(place.blocks) >= DEEPEST_INSERT:
            self._note(_DEEP, item, name)
        else:
            outer = tuple(dict.fromkeys((block_name, name, *place.names)))
            inner = replace(
                place,
                layer=name,
                colour=colour_of(item.entity, layer, place.colour),
                names=outer,
                blocks=(*place.blocks, key),
            )
            for matrix in matrices:
                with _quiet():
                    whole = af.compose(place.matrix, matrix)
                if not np.isfinite(whole).all():
                    self._note(_DAMAGED, item, name)
                    return
                there = replace(inner, matrix=whole)
                for held in items:
                    self._visit(held, there)

    def _insert_maps(self, insert: Any) -> Iterator[af.Affine]:
        """Maps of the plane, one for each place of an insert's array.

        Raises
        ------
        NotFlat
            When the insert tilts its block out of the plane.
        DrawingError
            When the array has more places than a drawing may have paths.
        """
        dxf = insert.dxf
        rows = int(dxf.row_count) if dxf.row_spacing else 1
        columns = int(dxf.column_count) if dxf.column_spacing else 1
        if rows * columns > MOST_PATHS:
            raise self._too_large(f"a block inserted {rows * columns:,} times")
        m = insert.matrix44()
        ux, uy, _, origin = (np.array(m.get_row(k)[:3], dtype=np.float64) for k in range(4))
        size = max(float(np.abs(ux).max()), float(np.abs(uy).max()))
        if max(abs(ux[2]), abs(uy[2])) > FLAT * size:
            raise NotFlat
        ocs = insert.ocs()
        turn = af.rotation(math.radians(float(dxf.rotation)))[:, :2]
        for row in range(max(rows, 1)):
            for column in range(max(columns, 1)):
                # The grid is turned with the insert but not scaled.
                step = turn @ (column * float(dxf.column_spacing), row * float(dxf.row_spacing))
                shift = ocs.to_wcs((float(step[0]), float(step[1]), 0.0))
                x, y = origin[0] + shift[0], origin[1] + shift[1]
                yield af.affine(ux[0], ux[1], uy[0], uy[1], x, y)

    def _too_large(self, what: str) -> DrawingError:
        return DrawingError.one(
            self._file,
            f"the drawing is too large: it holds {what}",
            "Keep only what is to be cut, or split it into several files",
        )


def _quiet() -> np.errstate:
    """Numbers that overflow are looked for afterwards; numpy need not warn the maker of them."""
    return np.errstate(over="ignore", invalid="ignore")


def _text(value: object) -> str:
    """A name fit for printing: bytes that were no text are shown as a question mark."""
    return str(value).encode("utf-8", "replace").decode("utf-8")
