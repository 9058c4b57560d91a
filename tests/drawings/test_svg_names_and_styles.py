"""Layers, ids, what is hidden, colours, style sheets of SVG drawings."""

from __future__ import annotations

import pytest

from nestkit.drawings.svg_names import decode
from nestkit.drawings.svg_paint import colour_of
from nestkit.errors import DrawingError
from tests.drawings.svg_made import codes, read

SQUARE = '<rect id="square" width="5" height="5"/>'
SHOWN = '<rect id="shown" width="9" height="9"/>'


def colour(attributes: str, around: str = "", sheet: str = "") -> str:
    """Colour of a square with these attributes, in a group with those around it."""
    body = f'<style>{sheet}</style><g {around}><rect width="5" height="5" {attributes}/></g>'
    return read(body).paths[0].colour


# Layers and names


def test_layer_is_what_the_editor_calls_one() -> None:
    body = f'<g id="g1" ed:groupmode="layer" ed:label="cuts"><g id="g2" ed:label="left wing">{SQUARE}</g></g>'
    (path,) = read(body).paths
    assert path.layer == "cuts"
    assert path.id == "square"
    assert path.names == ("square", "g2", "left wing", "g1", "cuts")


@pytest.mark.parametrize(
    ("outer", "inner", "layer"),
    [
        ('id="a"', 'id="b"', "b"),
        ('id="a"', "", "a"),
        ('id="a" ed:label="label"', 'id="b"', "label"),
        ('ed:groupmode="layer" ed:label="one"', 'ed:groupmode="layer" ed:label="two"', "two"),
        ('ed:groupmode="layer" id="bare"', 'ed:label="group"', "bare"),
        ('id="fold_x0020_90"', "", "fold 90"),
        ('id="x1" data-name="fold 90"', "", "fold 90"),
        ('id="g7" ed:label="#g7"', "", "g7"),
        ("", "", ""),
    ],
)
def test_layer_of_nested_groups(outer: str, inner: str, layer: str) -> None:
    assert read(f"<g {outer}><g {inner}>{SQUARE}</g></g>").paths[0].layer == layer


def test_names_are_offered_as_written_and_decoded() -> None:
    (path,) = read('<g id="axe_x5F_head"><title>Axe</title><path id="a_x0020_b" d="M0 0h9"/></g>').paths
    assert path.names == ("a_x0020_b", "a b", "axe_x5F_head", "axe_head", "Axe")
    assert path.id == "a_x0020_b"
    assert path.layer == "Axe"


def test_decoding_leaves_what_is_no_escape() -> None:
    assert decode("a_x0020_b_x2D_c_x1F600_") == "a b-c\U0001f600"
    assert decode("max_x_y _xD800_ _x00_ _xFFFFFF_") == "max_x_y _xD800_ _x00_ _xFFFFFF_"


def test_a_copy_answers_to_its_own_name_and_stays_in_its_layer() -> None:
    body = f"""<defs><g id="bolt">{SQUARE}</g></defs>
        <g id="marks"><use id="left" href="#bolt"/><use id="right" xlink:href="#bolt" x="50"/></g>"""
    left, right = read(body).paths
    assert left.names == ("square", "bolt", "left", "marks")
    assert right.names == ("square", "bolt", "right", "marks")
    assert left.layer == right.layer == "marks"
    assert right.path.start[0] - left.path.start[0] == pytest.approx(50)


# What is not drawn


@pytest.mark.parametrize(
    "hidden",
    [
        f'<g display="none">{SQUARE}</g>',
        f'<g style="display:none"><g style="display:inline">{SQUARE}</g></g>',
        f'<g ed:groupmode="layer" style="display : none ;">{SQUARE}</g>',
        f'<g visibility="hidden">{SQUARE}</g>',
        f'<g style="visibility:collapse">{SQUARE}</g>',
        f"<style>.off{{display:none}}</style><g class='on off'>{SQUARE}</g>",
        f"<defs>{SQUARE}</defs>",
        f"<symbol>{SQUARE}</symbol>",
        f"<clipPath>{SQUARE}</clipPath><mask>{SQUARE}</mask><pattern>{SQUARE}</pattern><marker>{SQUARE}</marker>",
        f"<metadata>{SQUARE}</metadata><unknown>{SQUARE}</unknown>",
        f'<g requiredExtensions="http://example.invalid/">{SQUARE}</g>',
        f'<switch><g systemLanguage="xx">{SQUARE}</g></switch>',
        '<ed:rect width="5" height="5"/>',
        f"<ed:g>{SQUARE}</ed:g>",
        '<svg width="0" height="5"><rect width="5" height="5"/></svg>',
    ],
)
def test_hidden_things_are_skipped_silently(hidden: str) -> None:
    drawing = read(hidden + SHOWN)
    assert [path.id for path in drawing.paths] == ["shown"]
    assert drawing.findings == ()


@pytest.mark.parametrize(
    "shown",
    [
        f'<g visibility="hidden"><g visibility="visible">{SQUARE}</g></g>',
        f'<g opacity="0">{SQUARE}</g>',
        f"<a>{SQUARE}</a>",
        f'<switch><g requiredExtensions="x"/><g systemLanguage="de, en-GB">{SQUARE}</g>{SHOWN}</switch>',
        f"<svg>{SQUARE}</svg>",
    ],
)
def test_what_is_visible_is_drawn(shown: str) -> None:
    assert [path.id for path in read(shown).paths] == ["square"]


def test_what_cannot_be_seen_is_told() -> None:
    drawing = read(f'<g id="frame"><path id="box" fill="none" d="M0 0h24v24z"/></g>{SHOWN}')
    assert [path.id for path in drawing.paths] == ["shown"]
    (finding,) = drawing.findings
    assert (finding.code, finding.layer, finding.id, finding.at) == (
        "unpainted",
        "frame",
        "box",
        (0.0, 100.0),
    )


def test_text_and_pictures_are_told_with_their_place() -> None:
    body = f"""<g id="labels" transform="translate(10 20)">
        <text id="t" x="5" y="6">Port <tspan>bow</tspan></text>
        <text> </text><image id="i" href="http://example.invalid/a.png" x="1" y="1"/>
        <foreignObject id="f"><p xmlns="http://www.w3.org/1999/xhtml">x</p></foreignObject></g>{SHOWN}"""
    text, image, foreign = read(body).findings
    assert (text.code, text.layer, text.id) == ("text-not-paths", "labels", "t")
    assert text.at == pytest.approx((15, 74))
    assert "'Port bow'" in text.text
    assert (image.code, image.id, foreign.code, foreign.id) == ("image-skipped", "i", "foreign-skipped", "f")


def test_a_drawing_of_text_alone_is_refused_and_says_why() -> None:
    with pytest.raises(DrawingError) as refused:
        read("<text>Harbour</text>")
    nothing, why = refused.value.problems
    assert "holds no line" in nothing.what
    assert "'Harbour' is not converted to paths" in why.what


def test_clips_are_told() -> None:
    drawing = read(f'<g id="g" clip-path="url(#c)" mask="none">{SQUARE}</g>')
    assert [(finding.code, finding.id) for finding in drawing.findings] == [("clip-ignored", "g")]


# Colours


@pytest.mark.parametrize(
    ("attributes", "expected"),
    [
        ('stroke="#F00"', "#ff0000"),
        ('stroke="rgb(0, 128, 255)"', "#0080ff"),
        ('stroke="rgb(0 128 255 / 50%)"', "#0080ff"),
        ('stroke="rgb(100%,0%,0%)"', "#ff0000"),
        ('stroke="rebeccapurple"', "#663399"),
        ('stroke="hsl(120, 100%, 25%)"', "#008000"),
        ('stroke="none" fill="Blue"', "#0000ff"),
        ('fill="#123456"', "#123456"),
        ("", "#000000"),
        ('stroke="currentColor" color="lime"', "#00ff00"),
        ('stroke="url(#gradient) red"', "#ff0000"),
        ('stroke="url(#gradient)"', ""),
        ('stroke="nonsense" fill="#123456"', "#123456"),
        ('stroke="red" style="stroke:#00f"', "#0000ff"),
    ],
)
def test_colours(attributes: str, expected: str) -> None:
    assert colour(attributes) == expected


@pytest.mark.parametrize(
    ("around", "attributes", "expected"),
    [
        ('stroke="red"', "", "#ff0000"),
        ('stroke="red"', 'stroke="inherit"', "#ff0000"),
        ('stroke="red"', 'stroke="none" fill="lime"', "#00ff00"),
        ('stroke="red"', 'stroke="initial" fill="lime"', "#00ff00"),
        ('color="red" stroke="currentColor"', 'color="blue"', "#0000ff"),
        ('style="stroke:red"', 'stroke="blue"', "#0000ff"),
    ],
)
def test_colours_are_inherited(around: str, attributes: str, expected: str) -> None:
    assert colour(attributes, around) == expected


def test_a_colour_that_is_none() -> None:
    assert colour_of("nonsense") is None
    assert colour_of("transparent") == ""
    assert colour_of("#12345600") == ""


# The cascade (CSS Cascading Level 4, "Cascade sorting order"; SVG 2, section 6.6)


@pytest.mark.parametrize(
    ("sheet", "attributes", "expected"),
    [
        ("rect{stroke:blue}", 'stroke="red"', "#0000ff"),
        ("rect{stroke:blue}", 'style="stroke:red"', "#ff0000"),
        ("rect{stroke:blue!important}", 'style="stroke:red"', "#0000ff"),
        ("rect{stroke:blue!important}", 'style="stroke:red ! important"', "#ff0000"),
        (".a{stroke:red} rect{stroke:blue}", 'class="b a"', "#ff0000"),
        ("#i{stroke:red} .a{stroke:blue} rect.a{stroke:lime}", 'class="a" id="i"', "#ff0000"),
        (".a{stroke:red} .a{stroke:blue}", 'class="a"', "#0000ff"),
        ("*{stroke:red} rect{stroke:blue}", "", "#0000ff"),
        ("circle , rect{stroke:red}", "", "#ff0000"),
        ("#g rect{stroke:red} rect{stroke:blue}", "", "#ff0000"),
        ("svg > rect{stroke:red} g > rect{stroke:blue}", "", "#0000ff"),
        ("svg g rect{stroke:red} g svg rect{stroke:blue}", "", "#ff0000"),
        ("rect.a.b{stroke:red}", 'class="a"', "#000000"),
        ("/* rect{stroke:red} */ <!-- rect{stroke:blue} -->", "", "#0000ff"),
        ("@media print{rect{stroke:red}}", "", "#000000"),
        ("@font-face{src:url(data:x;base64,AA)} rect{stroke:red}", "", "#ff0000"),
        ("rect{stroke:red;;fill:;stroke-width:2}", "", "#ff0000"),
        ("", 'style="fill:url(data:a;b:c);stroke: red"', "#ff0000"),
        ("", 'style="/* stroke:blue; */ stroke:red"', "#ff0000"),
    ],
)
def test_the_cascade(sheet: str, attributes: str, expected: str) -> None:
    assert colour(attributes, 'id="g"', sheet.replace("<", "&lt;").replace(">", "&gt;")) == expected


@pytest.mark.parametrize(
    "selector", ["rect:hover", "[id]", "a + rect", "rect ~ rect", "> rect", "g >", "a..b", "."]
)
def test_a_selector_that_is_not_understood_is_told_when_it_matters(selector: str) -> None:
    escaped = selector.replace(">", "&gt;")
    assert codes(read(f"<style>{escaped}{{stroke-width:2}}</style>{SQUARE}")) == []
    assert codes(read(f"<style>{escaped}{{display:none}}</style>{SQUARE}")) == ["css-skipped"]


def test_geometry_may_stand_in_a_style() -> None:
    (path,) = read('<style>rect{width:30px}</style><rect width="5" height="5" style="height:2cm"/>').paths
    x0, y0, x1, y1 = path.path.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((30, 20 * 96 / 25.4))


def test_style_sheets_elsewhere_are_told() -> None:
    assert codes(read(f'<style>@import "other.css";</style>{SQUARE}')) == ["external-reference"]
