"""The bytes of an SVG file, and its XML tree, read with entity expansion off."""

from __future__ import annotations

import gzip
import io
import pathlib
import zlib
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from nestkit.drawings.svg_notes import MOST_ELEMENTS
from nestkit.errors import DrawingError

#: Larger files, and compressed ones that grow larger, are refused.
MOST_BYTES = 50_000_000

#: Elements nested deeper than this are refused.
MOST_DEPTH = 128

SVG_NAMESPACE = "http://www.w3.org/2000/svg"

_SAVE_PLAIN = "Open it in your drawing program and save it as plain SVG"


def read_bytes(file: pathlib.Path, name: str) -> bytes:
    """The file's bytes, unpacked when it is gzip (``.svgz``).

    Raises
    ------
    DrawingError
        When the file isn't there, can't be read or is larger than `MOST_BYTES`.
    """
    try:
        if not file.is_file():
            what = "the drawing is no file" if file.exists() else "there is no such drawing"
            raise DrawingError.one(name, what, "Check its name and the folder it is in")
        with file.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, DrawingError):
            raise
        reason = getattr(error, "strerror", None) or error
        raise DrawingError.one(name, f"the drawing can't be opened: {reason}", "Check the file") from error
    if data[:2] == b"\x1f\x8b":
        try:
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
                data = packed.read(MOST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as error:
            raise DrawingError.one(name, "the compressed drawing is damaged", _SAVE_PLAIN) from error
    if len(data) > MOST_BYTES:
        raise DrawingError.one(
            name,
            f"the drawing is larger than {MOST_BYTES // 1_000_000} MB",
            "Take pictures out of it, simplify it, or split it into several drawings",
        )
    return data


class _Builder(TreeBuilder):
    """Builds the tree and stops when it grows beyond what is read."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self._name = name
        self._count = self._depth = 0

    def start(self, tag: str, attrs: dict[str, str], /) -> Element:
        """Open an element."""
        self._count += 1
        self._depth += 1
        if self._depth > MOST_DEPTH:
            what = f"elements are nested deeper than {MOST_DEPTH} levels"
            raise DrawingError.one(self._name, what, "Ungroup what need not be grouped")
        if self._count > MOST_ELEMENTS:
            what = f"the drawing holds more than {MOST_ELEMENTS:,} elements"
            raise DrawingError.one(self._name, what, "Simplify it, or split it into several drawings")
        return super().start(tag, attrs)

    def end(self, tag: str, /) -> Element:
        """Close an element."""
        self._depth -= 1
        return super().end(tag)


def parse(data: bytes, name: str) -> Element:
    """The root element of an SVG file.

    Entities, and whatever would make the reader open another file, are refused; a plain DOCTYPE,
    as older editors write it, is let through and never fetched.

    Raises
    ------
    DrawingError
        When this is no SVG, or one that is refused.
    """
    parser = DefusedXMLParser(
        target=_Builder(name), forbid_dtd=False, forbid_entities=True, forbid_external=True
    )
    try:
        parser.feed(data.lstrip())
        root: Element = parser.close()
    except DefusedXmlException as error:
        raise DrawingError.one(
            name, "the drawing declares XML entities or refers to outside ones, which is refused", _SAVE_PLAIN
        ) from error
    except ParseError as error:
        what = "the drawing is empty" if not data.strip() else f"this is no SVG that can be read ({error})"
        raise DrawingError.one(name, what, _SAVE_PLAIN) from error
    except DrawingError:
        raise
    except (ValueError, LookupError) as error:
        raise DrawingError.one(name, f"its text encoding can't be read ({error})", _SAVE_PLAIN) from error
    if local_name(root.tag) != "svg":
        what = f"this is no SVG: its outermost element is '{local_name(root.tag)[:40]}'"
        raise DrawingError.one(name, what, _SAVE_PLAIN)
    return root


def local_name(tag: str) -> str:
    """A tag or an attribute's name without its namespace."""
    return tag.rpartition("}")[2]


def namespace(tag: str) -> str:
    """A tag's namespace; empty when it has none."""
    return tag[1:].partition("}")[0] if tag.startswith("{") else ""
