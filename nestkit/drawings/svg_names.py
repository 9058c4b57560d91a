"""Names of layers, groups and paths, as drawing programs write them."""

from __future__ import annotations

import re
from typing import NamedTuple
from xml.etree.ElementTree import Element

from nestkit.drawings.svg_source import local_name

_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{2,6})_")


_SUBJECTS = {
    "g": "this group",
    "use": "this copy",
    "svg": "this inner drawing",
    "foreignObject": "this object",
}


def decode(name: str) -> str:
    """An id with its escapes undone: ``fold_x0020_90`` is ``fold 90``."""

    def character(match: re.Match[str]) -> str:
        code = int(match[1], 16)
        return chr(code) if 0x20 <= code <= 0x10FFFF and not 0xD800 <= code <= 0xDFFF else match[0]

    return _ESCAPE.sub(character, name)


class Naming(NamedTuple):
    """The names of one element.

    Parameters
    ----------
    tag : str
        The kind of element, without its namespace.
    id : str
    label : str
        What the editor shows: its label, or else its title.
    is_layer : bool
        True when the editor calls this group a layer.
    names : tuple of str
        Every name by which it may be asked for, as written and with escapes undone.
    """

    tag: str
    id: str
    label: str
    is_layer: bool
    names: tuple[str, ...]

    @property
    def subject(self) -> str:
        """What a message calls the element."""
        return _SUBJECTS.get(self.tag, f"this {self.tag}")

    @property
    def shown(self) -> str:
        """What a message calls it by its name: ``layer 'fold 60'``; ``group`` when it has none."""
        what = "layer" if self.is_layer else self.subject.removeprefix("this ")
        name = decode(self.label or self.id)
        return f"{what} '{name}'" if name else what


def naming(element: Element) -> Naming:
    """The names of an element: its id, its label or ``data-name``, its title."""
    label = layer = ""
    tag = local_name(element.tag)
    id = element.get("id", "")
    for key, value in element.items():
        if key == "data-name" or (key[-5:] == "label" and local_name(key) == "label"):
            label = label or value
        elif key[-9:] == "groupmode" and local_name(key) == "groupmode":
            layer = value
    if label == f"#{id}":
        label = ""  # what an editor writes before anybody named the group
    title = element.find("{*}title") if len(element) else None
    if title is not None and not label:
        label = " ".join((title.text or "").split())
    if not id and not label:
        return Naming(tag, "", "", layer == "layer", ())
    every = (id, decode(id), label, decode(label))
    return Naming(tag, id, label, layer == "layer", tuple(dict.fromkeys(filter(None, every))))
