"""Whatever is fed in, the result is a `Drawing` or a `DrawingError`."""

from __future__ import annotations

from hypothesis import example, given, settings
from hypothesis import strategies as st

from nestkit.errors import DrawingError
from tests.drawings.svg_made import HEAD, codes, read_bytes, svg

_SAMPLE = svg(
    """<style>.a{stroke:red} g &gt; path{fill:none!important} @import "x";</style>
    <defs><symbol id="s" viewBox="0 0 10 10"><path d="M0 0l5 5A3 4 10 0 1 9 9"/></symbol></defs>
    <g ed:groupmode="layer" ed:label="cut" transform="rotate(10 5 5) scale(2)" style="fill:blue">
    <path id="p_x0020_1" class="a" d="M1 2C3 4 5 6 7 8S1.5.5-1-2Q1 2 3 4T5 6H7V8Z"/>
    <rect x="1mm" y="2%" width="30" height="20" rx="3"/><circle cx="5" cy="5" r="3"/>
    <polygon points="1,2 3,4 5 6"/><use href="#s" width="20" height="30" x="4"/></g>
    <svg viewBox="0 0 5 5" width="50" height="20" preserveAspectRatio="xMinYMax slice">
    <line x2="5" y2="5" style="display:inline; stroke : red"/></svg>"""
).encode()

_PIECES = st.sampled_from(
    rb'< > " / & 0 - 1e999 % nan ( ) # ; : { \ A z </g> <g> <!-- ]]> none url( 1e308 *'.split()
)
_EDITS = st.lists(
    st.tuples(st.integers(0, len(_SAMPLE)), st.integers(0, 12), _PIECES | st.binary(max_size=4)),
    min_size=1,
    max_size=5,
)


def _edited(edits: list[tuple[int, int, bytes]]) -> bytes:
    data = _SAMPLE
    for start, removed, put in edits:
        data = data[:start] + put + data[start + removed :]
    return data


def _paths_or_problems(data: bytes) -> int:
    """How many paths the drawing has, or how many problems are told; any other error goes through."""
    try:
        return len(read_bytes(data).paths)
    except DrawingError as error:
        return len(error.problems)


def test_the_sample_to_be_damaged_is_sound() -> None:
    drawing = read_bytes(_SAMPLE)
    assert len(drawing.paths) == 6
    assert codes(drawing) == ["external-reference"]


@settings(max_examples=300, deadline=None)
@given(_EDITS.map(_edited))
def test_damaged_drawings_never_raise_anything_else(data: bytes) -> None:
    assert _paths_or_problems(data) > 0


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=300))
@example(b"\x1f\x8b\x08\x00")
def test_bytes_never_raise_anything_else(data: bytes) -> None:
    assert _paths_or_problems(data) > 0
    assert _paths_or_problems(b"<svg>" + data + b"</svg>") > 0


_WORDS = st.text("0123456789.,-+eE %mMlLzZaAcCsSqQtThHvVpxin()#;:!/*'{}url\\ot\u00e9\u0661", max_size=24)
_VALUES = st.one_of(
    _WORDS,
    st.sampled_from(["translate(5)", "rotate(9e999)", "scale(0)", "#a", "url(#a)", "0 0 5 5", "-1", "1e308"]),
)
_GEOMETRY = ["d", "points", "x", "y", "r", "rx", "cx", "width", "height", "viewBox", "transform"]
_STYLE = ["style", "class", "stroke", "fill", "display", "clip-path", "transform-origin"]
_NAMES = st.sampled_from([*_GEOMETRY, *_STYLE, "href", "id", "preserveAspectRatio", "systemLanguage"])
_DRAWN = ["path", "rect", "circle", "ellipse", "line", "polygon", "polyline", "text", "image"]
_TAGS = st.sampled_from([*_DRAWN, "use", "svg", "symbol", "g", "style", "switch"])


@st.composite
def _elements(draw: st.DrawFn, depth: int = 2) -> str:
    tag = draw(_TAGS)
    attributes = draw(st.dictionaries(_NAMES, _VALUES, max_size=4))
    inside = "" if depth == 0 else "".join(draw(st.lists(_elements(depth - 1), max_size=2)))
    return _written(tag, attributes, draw(_WORDS) if tag == "style" else inside)


def _written(tag: str, attributes: dict[str, str], inside: str) -> str:
    written = "".join(f' {name}="{value}"' for name, value in attributes.items())
    return f"<{tag}{written}>{inside}</{tag}>"


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(_NAMES, _VALUES, max_size=3), st.lists(_elements(), min_size=1, max_size=3))
def test_nonsense_never_raises_anything_else(root: dict[str, str], inside: list[str]) -> None:
    data = _written("svg", root, "".join(inside)).replace("<svg", f"<svg {HEAD}", 1)
    assert _paths_or_problems(data.encode()) > 0
