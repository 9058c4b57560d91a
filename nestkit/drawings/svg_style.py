"""Which CSS properties an element has: presentation attributes, style sheets and its own style.

Selectors are element names, ``*``, ``.class`` and ``#id``, joined (``path.cut#a``), nested
(``#layer1 path``, ``g > path``) and grouped. Others are told, when their rule would matter.

References
----------
CSS Cascading and Inheritance Level 4, "Cascade sorting order"; SVG 2, section 6.6 "Presentation
attributes" (they come before every rule of a style sheet).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element

import tinycss2

from nestkit.drawings.svg_notes import Notes, shorten
from nestkit.drawings.svg_source import local_name
from nestkit.errors import DrawingError

#: The properties that decide what is drawn, where, and in which colour.
PROPERTIES = frozenset(("display", "visibility", "stroke", "fill", "color", "clip-path", "mask")) | frozenset(
    (
        "transform",
        "transform-origin",
        "transform-box",
        "x",
        "y",
        "width",
        "height",
        "cx",
        "cy",
        "r",
        "rx",
        "ry",
    )
)

#: A drawing with more text or brackets than this in its style sheets, or more comparisons to make,
#: is refused.
MOST_SHEET_CHARACTERS = 2_000_000
MOST_BRACKETS = 100_000
MOST_COMPARISONS = 3_000_000

#: A style that can be split at ';' and ':' without a closer look.
_PLAIN_STYLE = re.compile(r"[^\"'\\/!{}@();:]*+(?:[;:][^\"'\\/!{}@();:]*+|\([^\"'\\/!{}@();:]*+\))*+")


class Declaration(NamedTuple):
    """One property as a rule or a style sets it."""

    name: str
    value: str
    important: bool


class Compound(NamedTuple):
    """Selectors that one element has to satisfy; an empty tag is any."""

    tag: str
    ids: tuple[str, ...]
    classes: tuple[str, ...]
    parent_only: bool  # the next compound on the left must be the parent, not any ancestor

    def matches(self, element: Element) -> bool:
        """Whether the element satisfies it."""
        return (
            (not self.tag or local_name(element.tag) == self.tag)
            and all(element.get("id") == name for name in self.ids)
            and (not self.classes or set(self.classes) <= set(element.get("class", "").split()))
        )


class Rule(NamedTuple):
    """One selector with its declarations; ``weight`` sorts rules from weak to strong."""

    weight: tuple[int, int, int, int]
    compounds: tuple[Compound, ...]  # from the right
    declarations: tuple[Declaration, ...]


def _declarations(tokens: Any) -> tuple[Declaration, ...]:
    found = tinycss2.parse_declaration_list(tokens, skip_comments=True, skip_whitespace=True)
    return tuple(
        Declaration(item.lower_name, tinycss2.serialize(item.value).strip(), item.important)
        for item in found
        if item.type == "declaration" and item.lower_name in PROPERTIES
    )


def parse_style(text: str) -> tuple[Declaration, ...]:
    """The declarations of a ``style`` attribute, only those in `PROPERTIES`."""
    if _PLAIN_STYLE.fullmatch(text) is None:
        return _declarations(text)
    found = []
    for item in text.split(";"):
        name, colon, value = item.partition(":")
        name, value = name.strip().lower(), value.strip()
        if colon and value and ":" not in value and name in PROPERTIES:
            found.append(Declaration(name, value, False))
    return tuple(found)


def _compounds(tokens: Iterable[Any]) -> tuple[Compound, ...] | None:
    """One complex selector, from the right; None when it holds anything that is not understood."""
    parts: list[Compound] = []
    tag = ""
    ids: list[str] = []
    classes: list[str] = []
    started = parent_only = after_dot = False
    pending = ""  # a combinator between the last compound and the one to come
    for token in tokens:
        if token.type == "whitespace" or token == ">":
            if after_dot:
                return None
            if token == ">":
                if not (started or parts) or pending == ">":
                    return None
                pending = ">"
            elif started:
                pending = pending or " "
            if started:
                parts.append(Compound(tag, tuple(ids), tuple(classes), parent_only))
                tag, ids, classes, started = "", [], [], False
            continue
        if not started:
            started, parent_only, pending = True, pending == ">", ""
            if token.type == "ident" or token == "*":
                tag = token.value if token.type == "ident" else ""
                continue
        if after_dot and token.type == "ident":
            classes.append(token.value)
            after_dot = False
        elif token == "." and not after_dot:
            after_dot = True
        elif token.type == "hash" and not after_dot:
            ids.append(token.value)
        else:
            return None
    if after_dot or pending == ">":
        return None
    if started:
        parts.append(Compound(tag, tuple(ids), tuple(classes), parent_only))
    return tuple(reversed(parts)) or None


def _split(tokens: Iterable[Any]) -> list[list[Any]]:
    """The selectors of a group, parted by commas."""
    groups: list[list[Any]] = [[]]
    for token in tokens:
        if token == ",":
            groups.append([])
        elif token.type != "comment":
            groups[-1].append(token)
    return groups


class Styles:
    """Answers which properties an element has.

    Parameters
    ----------
    root : Element
        The drawing; its ``style`` elements are read wherever they stand.
    notes : Notes

    Raises
    ------
    DrawingError
        When the style sheets are too large to be read: what is hidden would not be known.
    """

    def __init__(self, root: Element, notes: Notes) -> None:
        self._notes = notes
        self._by_key: dict[str, list[Rule]] = defaultdict(list)
        self._styles: dict[str, tuple[Declaration, ...]] = {}
        self._parents: dict[Element, Element] = {}
        self._rule_count = 0
        self._known: dict[Element, Mapping[str, str]] = {}
        texts = [
            "".join(element.itertext())
            for element in root.iter()
            if local_name(element.tag) == "style" and element.get("type", "text/css").strip() == "text/css"
        ]
        if sum(map(len, texts)) > MOST_SHEET_CHARACTERS:
            raise DrawingError.one(
                notes.file, "its style sheets are too large to be read", "Take embedded fonts out of it"
            )
        for text in texts:
            self._count_brackets(text)
            self._read(text)
        if self._by_key:
            self._parents = {child: parent for parent in root.iter() for child in parent}

    def _count_brackets(self, text: str) -> None:
        """Nested brackets are what a style sheet is slow to parse for."""
        self._notes.count("brackets in styles", sum(map(text.count, "({[")), MOST_BRACKETS)

    def _read(self, text: str) -> None:
        for rule in tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True):
            if rule.type == "at-rule" and rule.lower_at_keyword == "import":
                self._notes.add(
                    "external-reference",
                    f"the style sheet {shorten(tinycss2.serialize(rule.prelude).strip())} is not read,"
                    " because it is another file",
                    "Save the drawing as plain SVG, with its styles inside",
                )
            if rule.type != "qualified-rule" or not (declarations := _declarations(rule.content)):
                continue
            for group in _split(rule.prelude):
                compounds = _compounds(group)
                if compounds is None:
                    self._notes.add(
                        "css-skipped",
                        f"the style rule for '{shorten(tinycss2.serialize(group).strip())}' is not understood"
                        " and left out",
                        "Check that nothing hidden is drawn, or save the drawing with styles as attributes",
                    )
                    continue
                weight = (
                    sum(len(part.ids) for part in compounds),
                    sum(len(part.classes) for part in compounds),
                    sum(bool(part.tag) for part in compounds),
                    self._rule_count,
                )
                self._rule_count += 1
                first = compounds[0]
                key = (
                    f"#{first.ids[0]}"
                    if first.ids
                    else f".{first.classes[0]}"
                    if first.classes
                    else first.tag or "*"
                )
                self._by_key[key].append(Rule(weight, compounds, declarations))

    def _chain_matches(self, element: Element, compounds: tuple[Compound, ...]) -> bool:
        """Whether an element whose own compound matches stands in the right ancestors."""
        # All ways to match so far are followed at once, so that it can't take exponentially long.
        found = {element}
        for inner, outer in pairwise(compounds):
            above: set[Element] = set()
            for start in found:
                parent = self._parents.get(start)
                while parent is not None and parent not in above:
                    self._notes.count("comparisons of style rules", 1, MOST_COMPARISONS)
                    if outer.matches(parent):
                        above.add(parent)
                    parent = None if inner.parent_only else self._parents.get(parent)
            if not above:
                return False
            found = above
        return True

    def _rules(self, element: Element) -> list[Rule]:
        """The rules that apply, from weak to strong."""
        keys = ["*", local_name(element.tag), f"#{element.get('id', '')}"]
        keys += [f".{name}" for name in set(element.get("class", "").split())]
        found = []
        for key in keys:
            rules = self._by_key.get(key, ())
            self._notes.count("comparisons of style rules", len(rules), MOST_COMPARISONS)
            for rule in rules:
                if rule.compounds[0].matches(element) and self._chain_matches(element, rule.compounds):
                    found.append(rule)
        return sorted(found)

    def of(self, element: Element) -> Mapping[str, str]:
        """Values of the `PROPERTIES` that the element itself sets, without inheritance."""
        attributes = element.attrib
        text = attributes.get("style", "")
        if not text and not self._by_key:
            return {name: attributes[name] for name in attributes.keys() & PROPERTIES}
        if element not in self._known:
            found = {name: attributes[name] for name in attributes.keys() & PROPERTIES}
            declared = [d for rule in self._rules(element) for d in rule.declarations] if self._by_key else []
            declared += self._inline(text)
            for important in (False, True):
                found.update({d.name: d.value for d in declared if d.important is important})
            self._known[element] = found
        return self._known[element]

    def _inline(self, text: str) -> tuple[Declaration, ...]:
        if text not in self._styles:
            if _PLAIN_STYLE.fullmatch(text) is None:
                self._count_brackets(text)
            self._styles[text] = parse_style(text)
        return self._styles[text]
