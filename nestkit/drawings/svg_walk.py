"""The walk through an SVG tree: what is drawn, where, and under which names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import islice
from xml.etree.ElementTree import Element

from nestkit.drawings.hidden import HiddenLines, lines_in
from nestkit.drawings.model import DrawnPath
from nestkit.drawings.svg_lengths import parse_numbers
from nestkit.drawings.svg_names import Naming, naming
from nestkit.drawings.svg_notes import (
    MOST_COPIED_CHARACTERS,
    MOST_COPIES,
    MOST_PATHS,
    MOST_POINTS,
    Notes,
    shorten,
)
from nestkit.drawings.svg_path_data import Subpath, parse_path
from nestkit.drawings.svg_place import Chain, Place, is_wanted
from nestkit.drawings.svg_shapes import SHAPES, FlawError, length_of, shape_of
from nestkit.drawings.svg_source import MOST_DEPTH, SVG_NAMESPACE, local_name, namespace
from nestkit.drawings.svg_style import Styles
from nestkit.drawings.svg_trace import TooFarError, Traced, trace
from nestkit.drawings.svg_transform import parse_origin, parse_transform
from nestkit.drawings.svg_view import parse_view_box, view_transform
from nestkit.errors import Point
from nestkit.geometry.affine import Affine, compose, translation

#: A drawing with more transform functions than this, copies included, is refused.
MOST_TRANSFORMS = 300_000

#: A `use` may lead to another so many times.
MOST_USES = 32

#: Elements that hold others, and those that are told when they are left out.
_GROUPS = frozenset(("g", "a", "switch"))
_VISITED = _GROUPS | {"svg", "use", "text", "flowRoot", "image", "foreignObject"}


class Walker:
    """Draws the elements of a tree.

    Parameters
    ----------
    root : Element
    styles : Styles
    notes : Notes
    tolerance : float, mm
    """

    def __init__(self, root: Element, styles: Styles, notes: Notes, tolerance: float) -> None:
        self.paths: list[DrawnPath] = []
        self.hidden = HiddenLines()
        self._styles = styles
        self._notes = notes
        self._tolerance = tolerance
        self._spaces = {namespace(root.tag), SVG_NAMESPACE, ""}
        self._by_id: dict[str, Element] = {}
        for element in root.iter():
            if (id := element.get("id")) is not None:
                self._by_id.setdefault(id, element)
        self._naming: dict[Element, Naming] = {}
        self._sizes: dict[Element, int] = {}
        self._waiting: list[tuple[Element, Place, Mapping[str, str] | None]] = []

    def draw(self, root: Element, place: Place) -> None:
        """Draw the outermost element's content.

        Parameters
        ----------
        root : Element
        place : Place
            Inside the outermost viewport: its viewBox is in the matrix already.

        Raises
        ------
        DrawingError
            When more is drawn than a drawing may hold.
        """
        self._push_children(root, place)
        while self._waiting:
            element, place, size = self._waiting.pop()
            if place.uses:
                self._count_copy(element)
            self._visit(element, place, size)

    def _count_copy(self, element: Element) -> None:
        size = self._sizes.get(element)
        if size is None:
            size = self._sizes[element] = 1 + sum(map(len, element.attrib.values()))
        self._notes.count("characters in copies (clones, symbols)", size, MOST_COPIED_CHARACTERS)
        # The children are counted before they are looked at, drawn or not.
        self._notes.count("copied elements (clones, symbols)", 1 + len(element), MOST_COPIES)

    def _name(self, element: Element) -> Naming:
        if element not in self._naming:
            self._naming[element] = naming(element)
        return self._naming[element]

    def enter(
        self, element: Element, place: Place, properties: Mapping[str, str]
    ) -> tuple[Place, Naming] | None:
        """The place inside an element, its transform and style taken in; None when it is not drawn."""
        if not is_wanted(element):
            return None
        name = self._name(element)
        if properties.get("display", "").strip().lower() == "none":
            if not place.uses:
                self.hidden.add(name.shown, name.names + place.names, lines_in(element))
            return None
        inside = replace(place, look=place.look.of(properties), names=name.names + place.names)
        if place.look.visible and not inside.look.visible and not place.uses:
            inside = replace(inside, veil=self.hidden.add(name.shown, inside.names))
        matrix = self._transformed(inside, name, properties)
        if matrix is None:
            return None
        for clip in ("clip-path", "mask"):
            if properties.get(clip, "none").strip().lower() not in ("none", ""):
                self._note(
                    "clip-ignored",
                    f"is cut off by a {clip} in the drawing, but is read whole",
                    "Cut the shape itself in your drawing program, and release the clip",
                    inside,
                    name,
                )
        return (inside if matrix is inside.matrix else replace(inside, matrix=matrix)), name

    # One element

    def _visit(self, element: Element, place: Place, size: Mapping[str, str] | None) -> None:
        tag = local_name(element.tag)
        if namespace(element.tag) not in self._spaces:
            return
        drawn = tag == "path" or tag in SHAPES
        if not drawn and tag not in _VISITED and (tag != "symbol" or size is None):
            return
        properties = self._styles.of(element)
        entered = self.enter(element, place, properties)
        if entered is None:
            return
        inside, name = entered
        if drawn:
            self._draw(element, tag, inside, name, properties)
        elif tag == "use":
            self._use(element, inside, name, properties)
        elif tag == "svg" or tag == "symbol":
            framed = self._framed(element, inside, name, {**properties, **(size or {})})
            if framed is not None:
                self._push_children(element, framed)
        elif tag in _GROUPS:
            self._push_children(element, inside.in_group(name) if tag == "g" else inside, tag == "switch")
        else:
            self._note_foreign(element, tag, inside, name)

    def _push_children(self, element: Element, place: Place, first_only: bool = False) -> None:
        if place.depth >= MOST_DEPTH:
            text = f"nests elements deeper than {MOST_DEPTH} levels through copies; they are left out"
            todo = "Replace the copies by real ones (unlink clones)"
            self._note("deep-use", text, todo, place, self._name(element))
            return
        inside = replace(place, chain=Chain(element, place.chain), depth=place.depth + 1)
        children = [child for child in element if isinstance(child.tag, str)]
        if first_only:
            children = [child for child in children if is_wanted(child)][:1]
        # The last in is visited first, so that paths come in the drawing's order.
        self._waiting.extend((child, inside, None) for child in reversed(children))

    def _transformed(self, place: Place, name: Naming, properties: Mapping[str, str]) -> Affine | None:
        text = properties.get("transform", "")
        if not text:
            return place.matrix
        self._notes.count("transforms", text.count("("), MOST_TRANSFORMS)
        try:
            matrix = parse_transform(text)
            if properties.get("transform-box", "view-box").strip().lower() not in ("view-box", "border-box"):
                raise ValueError("'transform-box' is not understood")
            origin = properties.get("transform-origin", "")
            if origin:
                x, y = parse_origin(origin, *place.viewport)
                matrix = compose(translation(x, y), compose(matrix, translation(-x, -y)))
        except ValueError as error:
            self._note(
                "bad-transform",
                f"has a transform that can't be read ({shorten(str(error), 80)}), and is left out",
                "Correct it, or ungroup and group it again in your drawing program",
                place,
                name,
            )
            return None
        return compose(place.matrix, matrix)

    # Containers

    def _use(self, element: Element, place: Place, name: Naming, properties: Mapping[str, str]) -> None:
        href = element.get("href") or next(
            (value for key, value in element.items() if local_name(key) == "href"), ""
        )
        href = href.strip()
        if href and not href.startswith("#"):
            self._note(
                "external-reference",
                f"is of something in another file ({shorten(href)}), which is not opened",
                "Copy the shape itself into this drawing",
                place,
                name,
            )
            return
        target = self._by_id.get(href[1:]) if len(href) > 1 else None
        if target is None:
            text = f"is of '{shorten(href)}', which the drawing doesn't hold"
            self._note("missing-reference", text, "Delete it, or draw it anew", place, name)
            return
        if not place.look.visible:
            self.hidden.count(place)
        chain = Chain(element, place.chain)
        if chain.holds(target):
            self._note("cyclic-use", "holds itself, and is left out", "Delete it", place, name)
            return
        if place.uses >= MOST_USES:
            text = f"is one of another copy, more than {MOST_USES} times over, and is left out"
            self._note("deep-use", text, "Replace the copies by real ones (unlink clones)", place, name)
            return
        try:
            x = length_of(properties, "x", place.viewport)
            y = length_of(properties, "y", place.viewport)
        except FlawError as flaw:
            self._note_flaw(flaw, place, name)
            return
        inside = replace(
            place,
            matrix=compose(place.matrix, translation(x, y)),
            chain=chain,
            uses=place.uses + 1,
            own=place.own if place.uses else len(place.names),
        )
        size = {key: properties[key] for key in ("width", "height") if properties.get(key, "auto") != "auto"}
        self._waiting.append((target, inside, size))

    def _framed(
        self, element: Element, place: Place, name: Naming, properties: Mapping[str, str]
    ) -> Place | None:
        """The place inside a nested svg or a symbol: a viewport of its own."""
        try:
            x = length_of(properties, "x", place.viewport)
            y = length_of(properties, "y", place.viewport)
            width = length_of(properties, "width", place.viewport, place.viewport[0])
            height = length_of(properties, "height", place.viewport, place.viewport[1])
            if width < 0.0 or height < 0.0:
                raise FlawError("its width or height is negative")
        except FlawError as flaw:
            self._note_flaw(flaw, place, name)
            return None
        if width == 0.0 or height == 0.0:
            return None
        matrix = compose(place.matrix, translation(x, y))
        text = element.get("viewBox")
        if text is None:
            return replace(place, matrix=matrix, viewport=(width, height))
        box = parse_view_box(text)
        if box is None:
            self._note_flaw(FlawError(f"its viewBox '{shorten(text)}' can't be read"), place, name)
            return None
        if box.width == 0.0 or box.height == 0.0:
            return None
        view = view_transform(box, width, height, element.get("preserveAspectRatio", ""))
        return replace(place, matrix=compose(matrix, view), viewport=(box.width, box.height))

    # Shapes

    def _draw(
        self, element: Element, tag: str, place: Place, name: Naming, properties: Mapping[str, str]
    ) -> None:
        if not place.look.visible:
            self.hidden.count(place)
            return
        flaw = ""
        try:
            subpaths, flaw = self._subpaths(element, tag, place, properties)
            traced = [self._traced(subpath, place.matrix) for subpath in subpaths]
        except FlawError as error:
            self._note_flaw(error, place, name)
            return
        except (ArithmeticError, TooFarError):
            self._note(
                "absurd-size",
                "has coordinates that are no numbers or lie more than 10 km away, and is left out",
                "Delete it, or draw it anew",
                place,
                name,
            )
            return
        colour = place.look.painted()
        if colour is None and any(one.path for one in traced):
            self._note(
                "unpainted",
                "has neither stroke nor fill, so that it can't be seen, and is left out",
                "Give it a stroke if it is to be cut, or delete it",
                place,
                name,
                traced[0].at,
            )
            return
        if flaw:
            text = f"is read up to a mistake only: {flaw}"
            self._note("path-data", text, "Draw it anew, or mend it in your drawing program", place, name)
        for one in traced:
            if one.flaw == "zero-length":
                text = "has no length and is left out"
                self._note("zero-length", text, "", place, name, one.at, mended=True)
            elif one.flaw == "flat-loop":
                text = "goes there and back along one line, and is read as that line"
                self._note("flat-loop", text, "", place, name, one.at, mended=True)
            if one.path is not None:
                copied = len(place.names) - place.own if place.uses else 0
                self.paths.append(
                    DrawnPath(one.path, place.layer, name.id, place.names, colour or "", copied)
                )

    def _subpaths(
        self, element: Element, tag: str, place: Place, properties: Mapping[str, str]
    ) -> tuple[list[Subpath], str]:
        """The subpaths of a path or a shape, and what is wrong with it although it is drawn."""
        room = self._notes.room("points", MOST_POINTS)
        if tag != "path":
            shape, flaw = shape_of(tag, properties, element.attrib, place.viewport, room)
            return [Subpath((0.0, 0.0)) if shape is None else shape], flaw
        text = element.get("d", "")
        data = parse_path(text, room)
        if not data.whole:
            raise self._notes.too_many("points", MOST_POINTS)
        # A lone move draws nothing, and editors leave many of them.
        subpaths = [subpath for subpath in data.subpaths if subpath.segments or subpath.closed]
        if data.error is None:
            return subpaths, ""
        place_in_text = shorten(text[data.error : data.error + 20], 20)
        return subpaths, f"its path data can't be read from character {data.error + 1} on ('{place_in_text}')"

    def _traced(self, subpath: Subpath, matrix: Affine) -> Traced:
        room = self._notes.room("points", MOST_POINTS)
        traced = trace(subpath, matrix, self._tolerance, room)
        if traced is None:
            raise self._notes.too_many("points", MOST_POINTS)
        number = 1 if traced.path is None else len(traced.path.vertices)
        self._notes.count("points", number, MOST_POINTS)
        self._notes.count("paths", 1, MOST_PATHS)
        return traced

    # Findings

    def _note(
        self,
        code: str,
        text: str,
        todo: str,
        place: Place,
        name: Naming,
        at: Point | None = None,
        *,
        mended: bool = False,
    ) -> None:
        text = f"{name.subject} {text}"
        self._notes.add(code, text, todo, mended=mended, layer=place.layer, id=name.id, at=at)

    def _note_flaw(self, flaw: FlawError, place: Place, name: Naming) -> None:
        self._note("bad-value", f"is left out: {flaw}", "Correct it, or draw it anew", place, name)

    def _note_foreign(self, element: Element, tag: str, place: Place, name: Naming) -> None:
        if not place.look.visible:
            return
        at = _origin(element, place)
        if tag in ("text", "flowRoot"):
            if words := _words(element):
                text = f"'{words}' is not converted to paths, and is left out"
                todo = "Convert it to paths in your drawing program if it is to be cut or marked"
                self._note("text-not-paths", text, todo, place, name, at)
        elif tag == "image":
            todo = "Trace it into paths in your drawing program, or delete it"
            self._note("image-skipped", "can't be cut, and is left out", todo, place, name, at)
        else:
            text = "is no SVG, and is left out"
            self._note("foreign-skipped", text, "Draw it as paths", place, name, at)


def _words(element: Element) -> str:
    """The beginning of a text."""
    pieces = islice(element.itertext(), 100)
    return shorten(" ".join(" ".join(piece[:400] for piece in pieces).split()))


def _origin(element: Element, place: Place) -> Point | None:
    """Where a text or picture is anchored, mm."""
    first = [(parse_numbers(element.get(name, ""), 1)[0] or [0.0])[0] for name in ("x", "y")]
    x, y = (place.matrix[:, :2] @ first + place.matrix[:, 2]).tolist()
    return (x, y) if abs(x) < 1e12 and abs(y) < 1e12 else None
