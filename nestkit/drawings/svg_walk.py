"""The walk through an SVG tree: what is drawn, where, and under which names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple
from xml.etree.ElementTree import Element

from nestkit.drawings.model import DrawnPath
from nestkit.drawings.svg_lengths import parse_numbers
from nestkit.drawings.svg_names import Naming, decode, naming
from nestkit.drawings.svg_notes import MOST_COPIES, MOST_PATHS, MOST_POINTS, Notes, shorten
from nestkit.drawings.svg_paint import Look
from nestkit.drawings.svg_path_data import Subpath, parse_path
from nestkit.drawings.svg_shapes import SHAPES, FlawError, length_of, shape_of
from nestkit.drawings.svg_source import MOST_DEPTH, SVG_NAMESPACE, local_name, namespace
from nestkit.drawings.svg_style import Styles
from nestkit.drawings.svg_trace import TooFarError, trace
from nestkit.drawings.svg_transform import parse_origin, parse_transform
from nestkit.drawings.svg_view import parse_view_box, view_transform
from nestkit.errors import Point
from nestkit.geometry.affine import Affine, compose, translation

#: A `use` may lead to another so many times.
MOST_USES = 32

#: How sure a group's name is a layer's: named as one by the editor, labelled by hand, a mere id.
_NO_LAYER, _BY_ID, _BY_LABEL, _BY_EDITOR = range(4)


_PLAIN = Look()


class _Chain(NamedTuple):
    """The elements around one, innermost first; for an element drawn by `use`, the `use` too."""

    element: Element
    outer: _Chain | None


@dataclass(frozen=True, slots=True)
class Place:
    """What the elements around one settle for it.

    Parameters
    ----------
    matrix : Affine
        From user space to millimetres with y upward.
    viewport : (float, float)
        Width and height in user units, for per cent.
    """

    matrix: Affine
    viewport: tuple[float, float]
    look: Look = _PLAIN
    names: tuple[str, ...] = ()
    layer: str = ""
    sureness: int = _NO_LAYER
    chain: _Chain | None = None
    depth: int = 0
    uses: int = 0


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
        self._styles = styles
        self._notes = notes
        self._tolerance = tolerance
        self._spaces = {namespace(root.tag), SVG_NAMESPACE, ""}
        self._by_id: dict[str, Element] = {}
        for element in root.iter():
            if (id := element.get("id")) is not None:
                self._by_id.setdefault(id, element)
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
                self._notes.count("copied elements (clones, symbols)", 1, MOST_COPIES)
            self._visit(element, place, size)

    def enter(
        self, element: Element, place: Place, properties: Mapping[str, str]
    ) -> tuple[Place, Naming] | None:
        """The place inside an element, its transform and style taken in; None when it is not drawn."""
        if properties.get("display", "").strip().lower() == "none" or not _wanted(element):
            return None
        name = naming(element)
        inside = replace(place, look=place.look.of(properties), names=name.names + place.names)
        matrix = self._transformed(inside, name, properties)
        if matrix is None:
            return None
        for clip in ("clip-path", "mask"):
            if properties.get(clip, "none").strip().lower() not in ("none", ""):
                self._note(
                    "clip-ignored",
                    f"is cut off by a {clip} in the drawing, but is read whole",
                    "Cut the shape itself in your vector editor, and release the clip",
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
        if not drawn and tag not in _VISITED and size is None:
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
            self._push_children(element, _with_layer(inside, name) if tag == "g" else inside, tag == "switch")
        else:
            self._note_foreign(element, tag, inside, name)

    def _push_children(self, element: Element, place: Place, first_only: bool = False) -> None:
        if place.depth >= MOST_DEPTH:
            text = f"nests elements deeper than {MOST_DEPTH} levels through copies; they are left out"
            todo = "Replace the copies by real ones (unlink clones)"
            self._note("deep-use", text, todo, place, naming(element))
            return
        inside = replace(place, chain=_Chain(element, place.chain), depth=place.depth + 1)
        children = [child for child in element if isinstance(child.tag, str)]
        if first_only:
            children = [child for child in children if _wanted(child)][:1]
        # The last in is visited first, so that paths come in the drawing's order.
        self._waiting.extend((child, inside, None) for child in reversed(children))

    def _transformed(self, place: Place, name: Naming, properties: Mapping[str, str]) -> Affine | None:
        text = properties.get("transform", "")
        if not text:
            return place.matrix
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
                "Correct it, or ungroup and group it again in your vector editor",
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
        target = self._by_id.get(href[1:])
        if target is None:
            text = f"is of '{shorten(href)}', which the drawing doesn't hold"
            self._note("missing-reference", text, "Delete it, or draw it anew", place, name)
            return
        chain: _Chain | None = _Chain(element, place.chain)
        while chain is not None:
            if chain.element is target:
                self._note("cyclic-use", "holds itself, and is left out", "Delete it", place, name)
                return
            chain = chain.outer
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
            chain=_Chain(element, place.chain),
            uses=place.uses + 1,
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
            return
        flaw = ""
        try:
            if tag == "path":
                subpaths, flaw = self._subpaths(element.get("d", ""))
            else:
                shape, flaw = shape_of(tag, properties, element.attrib, place.viewport)
                subpaths = [Subpath((0.0, 0.0))] if shape is None else [shape]
            traced = []
            for subpath in subpaths:
                room = self._notes.room("points", MOST_POINTS)
                one = trace(subpath, place.matrix, self._tolerance, room)
                self._notes.count("points", 1 if one else room + 1, MOST_POINTS)
                if one is not None:
                    traced.append(one)
                    self._notes.count("points", len(one.path.vertices) if one.path else 0, MOST_POINTS)
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
            self._note("path-data", text, "Draw it anew, or mend it in your vector editor", place, name)
        for one in traced:
            if one.flaw == "zero-length":
                text = "has no length and is left out"
                self._note("zero-length", text, "", place, name, one.at, mended=True)
            elif one.flaw == "flat-loop":
                text = "goes there and back along one line, and is read as that line"
                self._note("flat-loop", text, "", place, name, one.at, mended=True)
            if one.path is not None:
                self._notes.count("paths", 1, MOST_PATHS)
                self.paths.append(DrawnPath(one.path, place.layer, name.id, place.names, colour or ""))

    def _subpaths(self, text: str) -> tuple[list[Subpath], str]:
        room = self._notes.room("points", MOST_POINTS)
        data = parse_path(text, room)
        # A lone move draws nothing, and editors leave many of them.
        subpaths = [subpath for subpath in data.subpaths if subpath.segments or subpath.closed]
        if data.error is None:
            return subpaths, ""
        place = shorten(text[data.error : data.error + 20], 20)
        return subpaths, f"its path data can't be read from character {data.error + 1} on ('{place}')"

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
            words = shorten(" ".join("".join(element.itertext()).split()))
            if words:
                self._note(
                    "text-not-paths",
                    f"'{words}' is not converted to paths, and is left out",
                    "Convert it to paths in your vector editor if it is to be cut or marked",
                    place,
                    name,
                    at,
                )
        elif tag == "image":
            todo = "Trace it into paths in your vector editor, or delete it"
            self._note("image-skipped", "can't be cut, and is left out", todo, place, name, at)
        else:
            text = "is no SVG, and is left out"
            self._note("foreign-skipped", text, "Draw it as paths", place, name, at)


_GROUPS = frozenset(("g", "a", "switch"))
_VISITED = _GROUPS | {"svg", "use", "text", "flowRoot", "image", "foreignObject"}


def _wanted(element: Element) -> bool:
    """Whether conditional processing lets the element through: no extension, English or any language."""
    attributes = element.attrib
    if attributes.get("requiredExtensions", "").strip():
        return False
    languages = attributes.get("systemLanguage")
    return languages is None or any(tag.strip().lower().split("-")[0] == "en" for tag in languages.split(","))


def _with_layer(place: Place, name: Naming) -> Place:
    """The place inside a group that may be a layer.

    A surer name replaces a less sure one and is kept inside; so a labelled group in a layer does
    not hide the layer. What a copy (`use`) was copied from hides no layer by its id alone.
    """
    if name.is_layer:
        sureness = _BY_EDITOR
    elif name.label:
        sureness = _BY_LABEL
    elif name.id:
        sureness = _BY_ID
    else:
        return place
    if sureness < place.sureness or (sureness == _BY_ID and place.uses and place.layer):
        return place
    return replace(place, layer=decode(name.label or name.id), sureness=sureness)


def _origin(element: Element, place: Place) -> Point | None:
    """Where a text or picture is anchored, mm."""
    first = [(parse_numbers(element.get(name, ""))[0] or [0.0])[0] for name in ("x", "y")]
    x, y = (place.matrix[:, :2] @ first + place.matrix[:, 2]).tolist()
    return (x, y) if abs(x) < 1e12 and abs(y) < 1e12 else None
