"""Where in an SVG tree an element stands: what those around it settle for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple
from xml.etree.ElementTree import Element

from nestkit.drawings.svg_names import Naming, decode
from nestkit.drawings.svg_paint import Look
from nestkit.geometry.affine import Affine

#: How sure a group's name is a layer's: named as one by the editor, labelled by hand, a mere id.
_NO_LAYER, _BY_ID, _BY_LABEL, _BY_EDITOR = range(4)

_PLAIN = Look()


class Chain(NamedTuple):
    """The elements around one, innermost first; for an element drawn by `use`, the `use` too."""

    element: Element
    outer: Chain | None

    def holds(self, element: Element) -> bool:
        """Whether the element is one of them."""
        link: Chain | None = self
        while link is not None:
            if link.element is element:
                return True
            link = link.outer
        return False


@dataclass(frozen=True, slots=True)
class Place:
    """What the elements around one settle for it.

    Parameters
    ----------
    matrix : Affine
        From user space to millimetres with y upward.
    viewport : (float, float)
        Width and height in user units, for per cent.
    look : Look
        The properties that are inherited.
    names : tuple of str
        Names of the elements around, innermost first.
    layer, sureness : str, int
        The layer's name, and how sure it is that it is one.
    chain : Chain, optional
    depth, uses : int
        How many elements, and how many `use` among them, stand around.
    own : int
        In a copy, how many of the names are those of its outermost `use` and of what stands around that.
    veil : int
        What hides all that is drawn here, of those that `HiddenLines` knows; -1 when nothing does.
    """

    matrix: Affine
    viewport: tuple[float, float]
    look: Look = _PLAIN
    names: tuple[str, ...] = ()
    layer: str = ""
    sureness: int = _NO_LAYER
    chain: Chain | None = None
    depth: int = 0
    uses: int = 0
    own: int = 0
    veil: int = -1

    def in_group(self, name: Naming) -> Place:
        """The place inside a group, which may be a layer.

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
            return self
        if sureness < self.sureness or (sureness == _BY_ID and self.uses and self.layer):
            return self
        return replace(self, layer=decode(name.label or name.id), sureness=sureness)


def is_wanted(element: Element) -> bool:
    """Whether conditional processing lets the element through: no extension, English or any language."""
    attributes = element.attrib
    if attributes.get("requiredExtensions", "").strip():
        return False
    languages = attributes.get("systemLanguage")
    return languages is None or any(tag.strip().lower().split("-")[0] == "en" for tag in languages.split(","))
