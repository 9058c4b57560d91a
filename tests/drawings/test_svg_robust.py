"""Whatever is fed in, the result is a `Drawing` or a `DrawingError`, soon."""

from __future__ import annotations

import gzip
import os
import pathlib
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from nestkit.drawings import svg_notes, svg_source, svg_style, svg_walk
from nestkit.drawings.svg import read_svg
from nestkit.errors import DrawingError
from tests.drawings.svg_made import PAGE, codes, read, read_bytes, svg

SQUARE = '<rect width="5" height="5"/>'


@contextmanager
def soon(seconds: float = 10.0) -> Iterator[None]:
    """Fail when the block takes much processor time; a hang would take for ever."""
    start = time.process_time()
    yield
    assert time.process_time() - start < seconds


def refusal(data: bytes) -> str:
    """The message with which a file is refused."""
    with pytest.raises(DrawingError) as refused, soon():
        read_bytes(data)
    return str(refused.value)


# Files


def test_files_that_cannot_be_read(tmp_path: pathlib.Path) -> None:
    with pytest.raises(DrawingError, match=r"^parts/none\.svg: there is no such drawing"):
        read_svg(tmp_path / "none.svg", "parts/none.svg")
    with pytest.raises(DrawingError, match="is no file"):
        read_svg(tmp_path)
    with pytest.raises(DrawingError):
        read_svg(pathlib.Path("a\0b.svg"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(tmp_path: pathlib.Path) -> None:
    os.mkfifo(tmp_path / "pipe.svg")
    with pytest.raises(DrawingError, match="is no file"):
        read_svg(tmp_path / "pipe.svg")


def test_compressed_drawings() -> None:
    packed = gzip.compress(svg(SQUARE).encode())
    assert len(read_bytes(packed, ".svgz").paths) == 1
    assert "damaged" in refusal(packed[:-9])
    assert "damaged" in refusal(b"\x1f\x8b nonsense")


def test_a_file_that_unpacks_without_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg_source, "MOST_BYTES", 1_000_000)
    assert "larger than 1 MB" in refusal(gzip.compress(b" " * 30_000_000))
    assert "larger than 1 MB" in refusal(b" " * 1_000_001)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding: str) -> None:
    label = encoding.removesuffix("-sig") if encoding != "latin-1" else "iso-8859-1"
    body = svg('<g id="Flügel"><path d="M0 0h9"/></g>')
    data = f'<?xml version="1.0" encoding="{label}"?>{body}'.encode(encoding)
    assert read_bytes(data).paths[0].layer == "Flügel"


def test_what_older_editors_write_is_read() -> None:
    doctype = (
        '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
    )
    for data in (
        doctype + svg(SQUARE),
        f"\n  <?xml version='1.0'?>{svg(SQUARE)}",
        f"<svg {PAGE}>{SQUARE}</svg>",
    ):
        assert len(read_bytes(data.encode()).paths) == 1
    prefixed = f'<s:svg xmlns:s="http://www.w3.org/2000/svg" {PAGE}><s:rect width="5" height="5"/></s:svg>'
    assert len(read_bytes(prefixed.encode()).paths) == 1


# XML that means harm


@pytest.mark.parametrize(
    "dtd",
    [
        '<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">',
        '<!ENTITY a SYSTEM "file:///etc/hostname">',
        '<!ENTITY % a SYSTEM "http://example.invalid/x.dtd"> %a;',
        '<!ENTITY ns "http://www.w3.org/2000/svg">',
        '<!ENTITY a SYSTEM "x.png" NDATA png>',
    ],
)
def test_entities_are_refused_and_the_maker_told_what_to_do(dtd: str) -> None:
    text = refusal(f"<!DOCTYPE svg [{dtd}]>{svg(SQUARE)}".encode())
    assert "entities" in text
    assert "save it as plain SVG" in text


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"  \n",
        b"\0\1\2",
        b"hello",
        b"<svg>",
        b"<svg/>",
        b"<html/>",
        b"<svg>&nbsp;</svg>",
        b"<svg><g a:b='1'/></svg>",
        b"<?xml version='1.0' encoding='utf-7'?><svg/>",
        b"<?xml version='1.0' encoding='none such'?><svg/>",
        b"\xff\xfe<\0s\0",
        b"<svg \xff='1'/>",
    ],
)
def test_what_is_no_drawing_is_refused(data: bytes) -> None:
    assert refusal(data).startswith("drawing.svg: ")


def test_deep_nesting_is_refused() -> None:
    assert "nested deeper" in refusal(b"<svg>" + b"<g>" * 500_000)
    deep = svg_source.MOST_DEPTH - 2
    assert len(read("<g>" * deep + SQUARE + "</g>" * deep).paths) == 1


def test_too_many_elements_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg_source, "MOST_ELEMENTS", 1000)
    assert "1,000 elements" in refusal(svg(SQUARE * 1001).encode())


# Copies


def test_a_copy_of_itself_is_told() -> None:
    body = f"""<g id="a">{SQUARE}<use id="u" href="#b"/></g><g id="b"><use id="v" href="#a"/></g>
        <use href="#w" id="w"/>"""
    drawing = read(body)
    assert {finding.code for finding in drawing.findings} == {"cyclic-use"}
    assert {finding.id for finding in drawing.findings} == {"u", "v", "w"}


def test_copies_of_copies_end_somewhere() -> None:
    chain = (
        "".join(f'<use id="u{i}" href="#u{i + 1}"/>' for i in range(200))
        + '<rect id="u200" width="5" height="5"/>'
    )
    drawing = read(f"<defs>{chain}</defs><use href='#u0'/><use href='#u190'/>")
    assert len(drawing.paths) == 1
    assert codes(drawing) == ["deep-use"]


def test_copies_nest_groups_only_so_deep() -> None:
    nest = "".join(f'<g id="n{i}">{"<g>" * 60}<use href="#n{i + 1}"/>{"</g>" * 60}</g>' for i in range(5))
    drawing = read(f'<defs>{nest}<rect id="n5" width="5" height="5"/></defs><use href="#n0"/>{SQUARE}')
    assert len(drawing.paths) == 1
    assert codes(drawing) == ["deep-use"]


def test_a_bomb_of_copies_is_refused() -> None:
    """Each group holds ten copies of the next: ten million squares from a few lines."""
    groups = "".join(f'<g id="g{i}">{f"<use href=%#g{i + 1}%/>" * 10}</g>' for i in range(7)).replace(
        "%", '"'
    )
    text = refusal(
        svg(f'<defs>{groups}<rect id="g7" width="5" height="5"/></defs><use href="#g0"/>').encode()
    )
    assert "50,000 copied elements" in text


@pytest.fixture
def few_points(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundredth of the limits, so that the tests are quick."""
    monkeypatch.setattr(svg_walk, "MOST_POINTS", 10_000)
    monkeypatch.setattr(svg_walk, "MOST_PATHS", 1_000)


@pytest.mark.usefixtures("few_points")
@pytest.mark.parametrize(
    "body",
    [
        f'<path d="M0 0{"L1 1 2 0" * 500}" id="p"/>' + '<use href="#p"/>' * 10,
        f'<path d="{"M0 0" * 10_001}"/>',
        f'<path d="M0 0{"h1" * 10_001}"/>',
        f'<path d="M0 0{"zm1 1h1" * 1_001}"/>',
        f'<path d="M0 0{"A9e6 5e6 0 1 1 9e6 1 9e6 5e6 0 1 1 0 0" * 5}"/>',
        f'<path d="M0 0{"C0 9e6 9e6 0 9e6 9e6 9e6 0 0 9e6 0 0" * 5}"/>',
        f'<polygon points="{"0 1 1 0 " * 10_001}"/>',
        "<circle r='1'/>" * 1_001,
    ],
    ids=["copies", "moves", "lines", "subpaths", "vast arcs", "vast curves", "polygon", "circles"],
)
def test_more_points_or_paths_than_a_drawing_may_have_are_refused(body: str) -> None:
    text = refusal(svg(body).encode())
    assert "more than 10,000 points" in text or "more than 1,000 paths" in text


def test_what_is_never_drawn_is_bounded_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Copies of things that draw nothing take time all the same."""
    titles = f'<g id="g">{"<title/>" * 2_000}</g>' + '<use href="#g"/>' * 30
    assert "copied elements" in refusal(svg(titles + SQUARE).encode())
    spaces = f'<path id="p" d="M0 0h1{" " * 1_000_000}"/>' + '<use href="#p"/>' * 60
    assert "characters in copies" in refusal(svg(spaces + SQUARE).encode())
    monkeypatch.setattr(svg_walk, "MOST_TRANSFORMS", 1_000)
    turns = f'<g transform="{"scale(1)" * 500}"/>' * 3
    assert "transforms" in refusal(svg(turns + SQUARE).encode())


def test_references_out_of_the_file_are_told_and_not_opened() -> None:
    hrefs = ("http://example.invalid/a.svg#b", "file:///etc/hostname", "other.svg#b", "data:image/svg+xml,x")
    drawing = read("".join(f'<use href="{href}"/>' for href in hrefs) + '<use href="#none"/><use/>' + SQUARE)
    assert codes(drawing) == ["external-reference"] * 4 + ["missing-reference"] * 2


# Slow on purpose


@pytest.mark.parametrize(
    "body",
    [
        '<path d="M0 0' + " " * 2_000_000 + '#"/>',
        '<path d="M0 0' + " ," * 500_000 + '"/>',
        '<path d="M' + "1" * 2_000_000 + ' 0h1"/>',
        '<path d="M' + "-" * 1_000_000 + '"/>',
        '<polyline points="' + "1e" * 500_000 + '"/>',
        '<rect width="' + "1" * 1_000_000 + 'x" height="1"/>',
        '<g transform="' + "scale(1) " * 20_000 + '!"/>',
        '<g transform="' + "(" * 200_000 + '"/>',
        '<g style="' + "stroke:" * 200_000 + '"/>',
        '<g style="' + "(" * 90_000 + '"/>',
        '<g id="' + "_x" * 500_000 + '"/>',
        '<g fill="url(' + "'" * 500_000 + '"/>',
        "<style>" + "a{" * 90_000 + "</style>",
        "<style>" + "a " * 100_000 + "{fill:red}</style>",
        "<style>" + "[" * 90_000 + "</style>",
        f"<text>{'x ' * 1_000_000}</text>",
    ],
    ids=lambda body: body[:24],
)
def test_text_that_is_slow_to_match_is_not(body: str) -> None:
    with soon(5.0):
        assert len(read(body + SQUARE).paths) >= 1


def test_style_sheets_that_take_for_ever_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg_style, "MOST_COMPARISONS", 10_000)
    rules = "<style>" + "rect{fill:red}" * 200 + "</style>"
    assert "comparisons of style rules" in refusal(svg(rules + SQUARE * 100).encode())
    chain = "<style>" + "g " * 50 + "rect{fill:red}</style>"
    deep = "<g>" * 100 + SQUARE * 10 + "</g>" * 100
    assert "comparisons of style rules" in refusal(svg(chain + deep).encode())
    nested = "<style>" + "[" * (svg_style.MOST_BRACKETS + 1) + "</style>"
    assert "brackets in styles" in refusal(svg(nested + SQUARE).encode())
    monkeypatch.setattr(svg_style, "MOST_SHEET_CHARACTERS", 100)
    assert "style sheets are too large" in refusal(svg(rules + SQUARE).encode())


def test_many_findings_are_counted_not_told() -> None:
    drawing = read('<text id="t">a</text>' * 500 + SQUARE)
    assert codes(drawing) == ["text-not-paths"] * (svg_notes.MOST_FINDINGS + 1)
    assert "450 more" in drawing.findings[-1].text
