"""Values at which programs trip, for each format that is read."""

from __future__ import annotations

from typing import Any

#: Numbers at which programs trip: no number, too large, too small, next to a limit.
ODD_NUMBERS = (
    *(
        "nan",
        "inf",
        "-inf",
        "1e308",
        "-1e308",
        "1e400",
        "1e-320",
        "-0.0",
        "0",
        "1",
        "-1",
        "0.1",
        "1e6",
        "1e9",
    ),
    *(
        "1e12",
        "99999999999999999999",
        "2147483648",
        "-2147483649",
        "0.0009",
        "0.001",
        "10000",
        "10001",
        "1e-9",
    ),
    *("360", "180", "179.999", "90", "1e15", "0x10", "1_000", "1,5", "\u0661\u0662", "1e", "--1", "1.2.3"),
)

#: Words that mean something elsewhere: to a shell, a spreadsheet, a browser, a file system, a reader.
ODD_WORDS = (
    *("", " ", "../../up", "/etc/passwd", "..\\up", "con", ".", "..", "a\x00b", "\x1b[31m", "\u202egnp.exe"),
    *(
        "=1+2",
        "@SUM(A1)",
        "+1",
        "-1",
        "=cmd|' /c calc'!A0",
        "<script>alert(1)</script>",
        "&amp;",
        "]]>",
        "'\"",
    ),
    *("\ud83e\udd80\ufe0f", "e\u0301" * 30, "x" * 70, "x" * 5000, "#", "%s%n", "{}", "file.svg#", "url(#a)"),
    *("fold 90", "bevel 45", "cut", "mark", "guide", "SHEET", "CUT_OUTSIDE", "POCKET_01", "none", "null"),
)

SVG_PIECES = (
    *(b'<use href="#a"/>', b'<g id="a"><use href="#a"/></g>', b'<path d="M0 0h40v30z"/>', b"<g>", b"</g>"),
    *(
        b'<svg viewBox="0 0 0 0">',
        b"</svg>",
        b"<style>*{stroke:red!important}</style>",
        b"<text>harbour</text>",
    ),
    *(
        b'<g transform="scale(0)">',
        b'<g transform="scale(1e200) rotate(9)">',
        b'<symbol id="a">',
        b"</symbol>",
    ),
    *(b'<rect width="1e308" height="5"/>', b"<path d='M0 0A1e-9 1e9 0 0 1 5 5z'/>", b"<!--", b"<![CDATA["),
)

PATH_PIECES = (
    *(
        "M0 0",
        "z",
        "m1 1",
        "h1e9",
        "v-3",
        "a5 5 0 1 1 .001 0",
        "A0 0 0 0 0 9 9",
        "C1e300 0 0 1e300 9 9",
        "t1 1",
    ),
    *("s3 3 4 4", "q0 0 0 0", "L nan 1", "l1e-300 0", "zz", "M1", "e5", "a1 1 0 11 5 5", "T-1-1-1-1"),
)

DXF_VALUES = (
    *(b"0", b"1", b"-1", b"nan", b"1e308", b"inf", b"1e12", b"LINE", b"ARC", b"INSERT", b"ENDBLK", b"SPLINE"),
    *(
        b"SECTION",
        b"ENDSEC",
        b"EOF",
        b"POLYLINE",
        b"VERTEX",
        b"SEQEND",
        b"*Model_Space",
        b"ELLIPSE",
        b"\xff\xfe",
    ),
    *(
        b"LWPOLYLINE",
        b"99999999",
        b"",
        b"CUT_OUTSIDE",
        b"POCKET_99",
        b"NESTKIT",
        b"../up",
        b"\\U+D800",
        b"1e-320",
    ),
)

DXF_CODES = (
    b"0",
    b"2",
    b"5",
    b"8",
    b"10",
    b"20",
    b"42",
    b"70",
    b"90",
    b"230",
    b"330",
    b"1000",
    b"1071",
    b"-5",
)

ODD_JSON: tuple[Any, ...] = (
    *(
        None,
        True,
        False,
        0,
        1,
        -1,
        2**63,
        -(2**70),
        0.0,
        -0.0,
        1e308,
        -1e308,
        1e-320,
        1e12,
        0.5,
        [],
        {},
        "",
        "x",
    ),
    *(
        [[0, 0]],
        [[0, 0], [1, 0], [1, 1]],
        [[0, 0, 1], [10, 0, 1e9]],
        [[[0, 0], [1, 0], [1, 1]]],
        {"a": 1},
        [[]],
    ),
    *("jobs/../../up.dxf", "jobs/a.dxf", "/etc/passwd", "jobs/\x00.dxf", "jobs/" + "x" * 300 + ".dxf", "in"),
)

TOML_VALUES = (
    *(
        "nan",
        "-inf",
        "1e308",
        "0",
        "-1",
        "true",
        '""',
        "[]",
        "{}",
        "[[1]]",
        "1979-05-27",
        '"../../up"',
        '"x/y"',
    ),
    *(
        "[1, 2]",
        '["a"]',
        "10001",
        "100001",
        "0.0009",
        '"any"',
        "9" * 400,
        "[0, 400]",
        '"=1+2"',
        '"eva"',
        "[nan, 1]",
    ),
    *(
        '{ part = "blade" }',
        '"\\u202e"',
        '"\\u0000"',
        "'''",
        '"a.svg"',
        '"drawing.svg#nothing"',
        '"rod"',
        "1e-7",
    ),
)
