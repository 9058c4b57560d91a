"""Every find of the fuzzers, made small, once more: what was a traceback is a reading or one clear message.

The inputs are our own; each case names what went wrong before it was mended (see tests/README.md).
"""

from __future__ import annotations

import pytest

from tests.fuzz.targets import FINDINGS, READ, REFUSED, SEEDS, TARGETS


def dxf(*entities: str) -> bytes:
    """A DXF file of the oldest kind that holds these entities: codes and values, one a word."""
    body = "\n".join("\n".join(entity.split()) for entity in entities)
    return f"0\nSECTION\n2\nENTITIES\n{body}\n0\nENDSEC\n0\nEOF\n".encode()


def polyline(*rows: tuple[float, float, float]) -> str:
    """A closed POLYLINE of rows x, y, bulge."""
    vertices = "".join(f" 0 VERTEX 8 cut 10 {x!r} 20 {y!r} 42 {bulge!r}" for x, y, bulge in rows)
    return f"0 POLYLINE 8 cut 66 1 70 1{vertices} 0 SEQEND"


def svg(body: str) -> bytes:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm" viewBox="0 0 100 80">'
        f"{body}</svg>"
    ).encode()


SQUARE = polyline((0, 0, 0), (50, 0, 0), (50, 40, 0), (0, 40, 0))
BOW = '<path d="M0 0L40 40H0L40 0Z"/>'

CASES = {
    # The arc's chords were divided by a step of 0 for a radius of a hundred thousand kilometres.
    "an arc as large as the moon's way": (
        "dxf",
        dxf(SQUARE, polyline((0, 0, 1e-3), (9e11, 0, 1.0), (9e11, 9e11, 0))),
        FINDINGS,
    ),
    "a circle of a million kilometres": ("dxf", dxf(SQUARE, "0 CIRCLE 8 cut 10 0 20 0 40 4e11"), FINDINGS),
    # The centre of so flat an arc is at infinity.
    "an arc that is a line": (
        "dxf",
        dxf(polyline((0, 0, 1e-320), (50, 0, 1e-16), (50, 40, -1e-300), (0, 40, 0))),
        FINDINGS,
    ),
    "two lines there and back with arcs that are none": (
        "dxf",
        dxf(SQUARE, polyline((0, 0, 1e-320), (50, 0, 1e-320))),
        FINDINGS,
    ),
    # Nothing times infinity warned on the terminal.
    "a block scaled beyond all numbers": (
        "dxf",
        dxf(SQUARE)
        .replace(
            b"0\nSECTION\n",
            b"0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n8\n0\n2\nbell\n70\n0\n10\n0\n20\n0\n0\nLINE\n8\ncut\n10\n0\n20\n0\n"
            b"11\n9\n21\n0\n0\nENDBLK\n8\n0\n0\nENDSEC\n0\nSECTION\n",
        )
        .replace(
            b"0\nENDSEC\n0\nEOF",
            b"0\nINSERT\n8\n0\n2\nbell\n10\n0\n20\n0\n41\ninf\n42\ninf\n0\nENDSEC\n0\nEOF",
        ),
        FINDINGS,
    ),
    # A part at sixty times its size was compared at a square of points.
    "a ridge of many metres": (
        "build",
        (SEEDS / "patterns.toml").read_bytes().replace(b"scale = 1.1", b"scale = 900"),
        REFUSED,
    ),
    # Messages told a layer's name whole, five thousand letters of it.
    "a long layer name": (
        "svg",
        svg(f'<g id="{"x" * 5000}">{BOW}</g>'),
        FINDINGS,
    ),
    # The reader's own words for programmers came through.
    "a job with a layer without a name": (
        "job-dxf",
        b"0\nSECTION\n2\nTABLES\n0\nTABLE\n2\nLAYER\n70\n1\n0\nLAYER\n70\n0\n0\nENDTAB\n0\nENDSEC\n0\nEOF\n",
        FINDINGS,
    ),
    # A depth that is next to nothing was divided by, with a warning on the terminal.
    "a depth of next to nothing": (
        "readings",
        b"material,thickness,unit,field,measures,setting,passes,depth,reading 1\n"
        b"eva,4,mm,D1,depth,1,1,,0.7\neva,4,mm,D2,depth,2,2,,1.4\neva,4,mm,D3,depth,3,3,,2.0\n"
        b"eva,4,mm,S1,skin,0.6,4,1e-320,58\neva,4,mm,S2,skin,0.8,4,3.2,62\neva,4,mm,S3,skin,1.0,4,3.0,66\n",
        REFUSED,
    ),
    # A shop's rows went straight into geometry.
    "a piece whose outline is none": ("shop-row", b'{"outline": {"a": 1}}', REFUSED),
    "a piece whose outline is no JSON": ("shop-row", b"[[0, 0", REFUSED),
    "a piece with a word among its numbers": (
        "shop-row",
        b'{"outline": [[[0, 0, 0], ["fold 90", 0, 0]]]}',
        REFUSED,
    ),
    "a piece larger than any sheet": (
        "shop-row",
        b'{"outline": [[[0, 0, 0], [1e308, 0, 0], [1e308, 1e308, 0]]]}',
        REFUSED,
    ),
    "a piece whose edge crosses itself": (
        "shop-row",
        b'{"outline": [[[0, 0, 0], [100, 100, 0], [100, 0, 0], [0, 100, 0]]]}',
        REFUSED,
    ),
    "a piece as thick as a word": ("shop-row", b'{"thickness": "eva"}', REFUSED),
    "a piece of a material that is a number": ("shop-row", b'{"material": 5}', READ),
}


def shop_with(folder, old: bytes, new: bytes) -> bytes:
    """A shop's file in which the ``old`` bytes are ``new``, as many."""
    (data,) = TARGETS["shop"].seeds(folder)
    assert old in data
    assert len(old) == len(new)
    return data.replace(old, new)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # SQLite quotes what is damaged in its message, which Python then can't decode.
        (b"CREATE TABLE piece", b"CREATE T\xabBLE piece"),
        (b"CREATE TABLE booking", b"CREATE TABLE b\x99oking"),
        (b"[[[0.0,", b"[[[0.0;"),
        (b"shelf", b"she\xff\xab"),
    ],
)
def test_a_damaged_shop_is_refused(tmp_path, old, new):
    assert TARGETS["shop"].make(tmp_path)(shop_with(tmp_path, old, new)) == REFUSED


@pytest.mark.parametrize("name", CASES)
def test_a_find_of_the_fuzzer_is_mended(tmp_path, name):
    target, data, wanted = CASES[name]
    assert TARGETS[target].make(tmp_path)(data) == wanted


def test_the_sound_inputs_beside_them_are_read(tmp_path):
    assert TARGETS["dxf"].make(tmp_path)(dxf("9 $INSUNITS 70 4", SQUARE)) in (READ, FINDINGS)
    assert TARGETS["svg"].make(tmp_path)(svg('<path d="M0 0H40V30Z"/>')) == READ
