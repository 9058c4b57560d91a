"""Damaged, missing and foreign files: a fault or an InputError, never a traceback."""

from __future__ import annotations

import json
import math
import random
import re
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from svgelements import Path as SvgPath

from nestkit.checking import CODES, Fault, check_folder
from nestkit.checking.bulges import flatten
from nestkit.checking.svg_drawing import arc_points
from nestkit.errors import InputError
from tests.checking.made import KERF, ONE, SPECS, TWO, Entity, Made, Row, Spec, block, corners, flat, made

SVG = ONE.replace(".dxf", ".svg")
BOMB = b'<!DOCTYPE s [<!ENTITY a "x"><!ENTITY b "&a;&a;">]>'
BINARY = b"AutoCAD Binary DXF\r\n\x1a\x00"


@pytest.fixture(scope="module")
def right(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The files of a folder in which all is right."""
    folder = made().write(tmp_path_factory.mktemp("right"))
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*.*")}


def lay(folder: Path, files: dict[str, bytes]) -> Path:
    (folder / "jobs").mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def cut_short(data: bytes) -> bytes:
    return data[: len(data) * 2 // 3]


@pytest.mark.parametrize(
    ("name", "damage", "codes"),
    [
        (ONE, lambda data: None, {"missing-file"}),
        (ONE, lambda data: b"", {"unreadable"}),
        (ONE, lambda data: random.Random(1).randbytes(4000), {"unreadable"}),
        (ONE, lambda data: BINARY + random.Random(2).randbytes(400), {"unreadable"}),
        (ONE, cut_short, {"unreadable"}),
        (SVG, cut_short, {"unreadable"}),
        (SVG, lambda data: BOMB + data.replace(b"lever", b"&b;"), {"unreadable"}),
        (SVG, lambda data: b"<p/>", {"svg"}),
        (SVG, lambda data: data.replace(b"400.0mm", b"400"), {"svg"}),
        (SVG, lambda data: data.replace(b'width="400.0mm"', b'width="40cm"'), {"svg"}),
        (SVG, lambda data: data.replace(b"M9.9,", b"M9.8,", 1), {"svg"}),
        (SVG, lambda data: data.replace(b'data-part="lever"', b'data-part="puck"'), {"svg"}),
        ("jobs/old.dxf", lambda data: b"", {"stray-file"}),
        ("jobs/OLD.DXF", lambda data: b"", {"stray-file"}),
    ],
)
def test_damaged_files(
    name: str,
    damage: Callable[[bytes], bytes | None],
    codes: set[str],
    right: dict[str, bytes],
    tmp_path: Path,
) -> None:
    files = dict(right)
    damaged = damage(files.pop(name, b""))
    lay(tmp_path, files if damaged is None else {**files, name: damaged})
    verdict = check_folder(tmp_path)
    assert verdict.codes == codes, str(verdict)
    assert {fault.file for fault in verdict.faults} == {name}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([TWO, TWO.replace(".dxf", ".svg"), "plan.json"]),
    st.lists(
        st.tuples(st.floats(0.0, 1.0), st.integers(0, 12), st.binary(max_size=6)), min_size=1, max_size=6
    ),
)
def test_whatever_the_bytes_no_traceback(
    folder: Path, right: dict[str, bytes], name: str, edits: list[tuple[float, int, bytes]]
) -> None:
    data = bytearray(right[name])
    for share, length, new in edits:
        at = int(share * len(data))
        data[at : at + length] = new
    lay(folder, {**right, name: bytes(data)})
    try:
        told = str(check_folder(folder))
    except InputError as error:
        told = str(error) if name == "plan.json" else ""
    assert told


@pytest.mark.parametrize("value", ["nan", "inf", "1e308", "-1e308", "x"])
@pytest.mark.parametrize("code", ["10", "42"])
def test_numbers_that_are_none(value: str, code: str, right: dict[str, bytes], tmp_path: Path) -> None:
    m = made()
    # The lever has arcs, so that each of its corners has a bulge (group 42) to be spoilt.
    lines = m.write(tmp_path).joinpath(ONE).read_text().split("\n")
    lever = max(k for k, line in enumerate(lines) if line.strip() == "lever")
    at = max(k for k in range(0, lever, 2) if lines[k].strip() == code)
    lines[at + 1] = value
    (tmp_path / ONE).write_text("\n".join(lines))
    assert check_folder(tmp_path).codes & {"unreadable", "not-finite"}


def nested(depth: int) -> bytes:
    return b'{"a":' * depth + b"1" + b"}" * depth


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (None, "no plan.json"),
        (b"", "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
        (b'{"format": "nestkit-plan", "version": 1, "scale": NaN}', "not JSON"),
        (b"[" * 200_000, "nested too deep"),
        (nested(200_000), "nested too deep"),
        (b"[]", "format"),
        (b'{"format": "other", "version": 1}', "format"),
        (b'{"format": "nestkit-plan", "version": 2}', "version 2"),
        (b'{"format": "nestkit-plan", "version": true}', "version True"),
        (b'{"format": "nestkit-plan", "version": ' + b"9" * 6000 + b"}", "not JSON"),
    ],
)
def test_no_plan(data: bytes | None, word: str, tmp_path: Path) -> None:
    if data is not None:
        (tmp_path / "plan.json").write_bytes(data)
    with pytest.raises(InputError) as caught:
        check_folder(tmp_path)
    assert word in str(caught.value)


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        check_folder(tmp_path / "nowhere")


def test_a_malformed_plan_is_told_with_all_that_is_wrong(tmp_path: Path) -> None:
    m = made()
    del m.plan["layout"]["gap_mm"]
    m.plan["cutter"]["kind"] = "saw"
    m.plan["cutter"]["kerf_mm"] = -0.1
    m.plan["parts"][1]["copies"] = 2.5
    m.plan["parts"][2]["part"] = "plate"
    m.plan["sheets"][0]["job"] = "../../elsewhere.dxf"
    m.plan["sheets"][0]["parts"][3]["outline_mm"] = [[0, 0], [1, True], [2, 2]]
    m.plan["sheets"][1]["blank_origin_mm"] = [1e300, 0]
    m.plan["unplaced"] = [7]
    with pytest.raises(InputError) as caught:
        check_folder(m.write(tmp_path))
    assert sorted(problem.where.removeprefix("plan.json: ") for problem in caught.value.problems) == [
        "cutter.kerf_mm",
        "cutter.kind",
        "layout.gap_mm",
        "parts[1].copies",
        "parts[2].part",
        "sheets[0].job",
        "sheets[0].parts[3].outline_mm",
        "sheets[1].blank_origin_mm",
        "unplaced[0]",
    ]


def test_an_empty_object_is_no_plan_of_ours(tmp_path: Path) -> None:
    (tmp_path / "plan.json").write_text(json.dumps({"format": "nestkit-plan", "version": 1}))
    with pytest.raises(InputError) as caught:
        check_folder(tmp_path)
    assert len(caught.value.problems) == 6  # cutter, layout, parts, groups, sheets, unplaced


def test_a_fault_says_where_what_and_what_to_do() -> None:
    fault = Fault("moved", "jobs/a.dxf", "wing", 2, (12.04, 3.0), "the part lies elsewhere", "Do this")
    where = "jobs/a.dxf, 'wing' copy 2, at (12.0, 3.0) mm"
    assert str(fault) == f"{where}: the part lies elsewhere [moved]. Do this."
    with pytest.raises(ValueError, match="no such fault code"):
        Fault("strange", "plan.json")
    assert all(code == code.lower() and " " not in code for code in CODES)


@pytest.mark.parametrize("name", ["jobs", "report.html", "shopping.csv", "cutting.csv", "layers.csv"])
def test_each_missing_file_is_told_once(name: str, tmp_path: Path) -> None:
    made().write(tmp_path)
    gone = sorted((tmp_path / "jobs").glob("*.svg")) if name == "jobs" else [tmp_path / name]
    for path in gone:
        path.unlink()
    faults = check_folder(tmp_path).faults
    assert [(fault.code, tmp_path / fault.file) for fault in faults] == [("missing-file", p) for p in gone]


# -- the SVG --------------------------------------------------------------------------------------------


def attribute(where: str, text: str) -> Callable[[str], str]:
    """Adds an attribute to the first element that begins so."""
    return lambda svg: svg.replace(where, f"{where} {text}", 1)


def element(before: str, text: str) -> Callable[[str], str]:
    """Adds an element before the first place that reads so."""
    return lambda svg: svg.replace(before, text + before, 1)


RECT = '<rect x="10" y="10" width="30" height="20"/>'
SVG_FAULTS: dict[str, Callable[[str], str]] = {
    "arcs bent the other way": lambda svg: svg.replace(" 0 0 0 ", " 0 0 1 "),
    "arcs the long way round": lambda svg: re.sub(r"A[\d.]+,[\d.]+ 0 0", "A20,20 0 1", svg),
    "arcs of another radius": lambda svg: re.sub(r"A[\d.]+", "A20", svg),
    "path moved": attribute("<path", 'transform="translate(1 0)"'),
    "layer moved": attribute('<g id="CUT_OUTSIDE"', 'transform="translate(1 0)"'),
    "drawing moved": attribute("<svg", 'transform="scale(1.05)"'),
    "layer moved by its style": attribute('<g id="MARK"', 'style="transform: scale(2)"'),
    "layer hidden": attribute('<g id="CUT_INSIDE"', 'display="none"'),
    "path hidden": attribute("<path", 'visibility="hidden"'),
    "path without a stroke": attribute("<path", 'stroke="none"'),
    "view moved to the right": lambda svg: svg.replace('viewBox="0 0', 'viewBox="3 0'),
    "view moved down": lambda svg: svg.replace('viewBox="0 0', 'viewBox="0 3'),
    "no view box": lambda svg: svg.replace("viewBox", "viewbox"),
    "rectangle outside the layers": element("</svg>", RECT),
    "path outside the layers": element("<g ", '<path d="M10,10L20,20"/>'),
    "rectangle in a layer": element("</g>", RECT),
    "group in a layer": element("</g>", f"<g>{RECT}</g>"),
    "layer too many": element("</svg>", '<g id="CUT"><path d="M1,1L9,9" data-part="a" data-copy="1"/></g>'),
    "shape to be used": element("<g ", f"<defs>{RECT}</defs>"),
    "style sheet": element("<g ", "<style>path { transform: scale(2) }</style>"),
    "path that moves": lambda svg: svg.replace("/>", '><animateMotion path="M0,0L9,9"/></path>', 1),
    "path left open": lambda svg: svg.replace('Z" data-part="lever"', '" data-part="lever"'),
    "path closed": lambda svg: svg.replace("L200.0,230.0", "L200.0,230.0Z"),
    "path in two pieces": lambda svg: svg.replace("Z", "ZM1,1L9,9", 1),
    "path with a leap": lambda svg: svg.replace("L200.0,230.0", "M200.0,230.0"),
    "path without end": lambda svg: svg.replace("L200.0,230.0", "L200.0,1e999"),
    "path that ends early": lambda svg: svg.replace("L200.0,230.0", "L200.0,230.0,#"),
    "path of one point": lambda svg: svg.replace("L200.0,230.0", ""),
}


@pytest.mark.parametrize("name", sorted(SVG_FAULTS))
def test_svg_faults(name: str, right: dict[str, bytes], tmp_path: Path) -> None:
    svg = right[SVG].decode()
    damaged = SVG_FAULTS[name](svg)
    assert damaged != svg
    faults = check_folder(lay(tmp_path, {**right, SVG: damaged.encode()})).faults
    assert [(fault.code, fault.file) for fault in faults] == [("svg", SVG)]


def test_what_an_svg_only_says_is_let_pass(right: dict[str, bytes], tmp_path: Path) -> None:
    says = (
        '<title>a</title><desc>b</desc><metadata><rect/></metadata><defs/><x:view xmlns:x="urn:x"/><!-- c -->'
    )
    svg = right[SVG].decode().replace("<g ", f"{says}<g ", 1)
    verdict = check_folder(lay(tmp_path, {**right, SVG: svg.encode()}))
    assert verdict.ok, str(verdict)


def test_neither_file_is_blamed_where_a_mark_lies_elsewhere_in_one(
    right: dict[str, bytes], tmp_path: Path
) -> None:
    m = made()
    k = m.find(ONE, "MARK", "plate")
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(0.0, 20.0)
    m.write(tmp_path)
    (tmp_path / SVG).write_bytes(right[SVG])
    (fault,) = check_folder(tmp_path).faults
    assert (fault.code, fault.file) == ("svg", SVG)
    assert "it and the DXF differ, so that one of them was changed: a path of 'plate' copy 1" in fault.text
    assert "by 20.00 mm" in fault.text


RADII = st.floats(0.5, 200.0)
PLACES = st.tuples(st.floats(-300.0, 300.0), st.floats(-300.0, 300.0))


@given(PLACES, PLACES, RADII, RADII, st.floats(0.0, 360.0), st.booleans(), st.booleans())
def test_svg_arcs_run_as_another_library_draws_them(
    start: tuple[float, float],
    end: tuple[float, float],
    rx: float,
    ry: float,
    turn: float,
    large: bool,
    sweep: bool,
) -> None:
    """Against svgelements; radii that are too small for their ends included."""
    assume(math.dist(start, end) > 0.1)
    points = np.vstack((start, arc_points(start, [rx, ry, turn, large, sweep, *end], 1e-3)))
    x0, y0, x1, y1 = *start, *end
    arc = SvgPath(f"M{x0},{y0}A{rx},{ry} {turn} {large:d} {sweep:d} {x1},{y1}")[1]
    theirs = np.array([(*arc.point(t),) for t in np.linspace(0.0, 1.0, 400)])
    drawn = shapely.LineString(points)
    assert shapely.distance(shapely.points(theirs), drawn).max() < 2e-3
    # Theirs are not a line near enough for the way back, but the lengths of both agree.
    assert np.hypot(*np.diff(theirs, axis=0).T).sum() == pytest.approx(drawn.length, rel=2e-3)


# -- arcs and kerf --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees", "radius", "sagitta", "length"),
    [
        # Derived from bulge = tan(angle / 4), Autodesk DXF reference, over the chord from (0, 0) to (10, 0).
        (45, 13.065629648763762, 0.994561836898, 10.261721529770),
        (90, 7.071067811865476, 2.071067811865, 11.107207345396),
        (180, 5.0, 5.0, 15.707963267949),
        (270, 7.071067811865476, 12.071067811865, 33.321622036188),
    ],
)
def test_bulges(degrees: float, radius: float, sagitta: float, length: float) -> None:
    bulge = math.tan(math.radians(degrees) / 4)
    for sign in (1.0, -1.0):
        points = flatten(np.array([[0.0, 0.0, sign * bulge], [10.0, 0.0, 0.0]]), False, 1e-6)
        # A positive bulge runs counter-clockwise: below a chord that points to the right.
        assert (sign * points[:, 1]).min() == pytest.approx(-sagitta, abs=1e-5)
        assert np.hypot(*np.diff(points, axis=0).T).sum() == pytest.approx(length, rel=1e-6)
        centre = (5.0, sign * (radius - sagitta))
        assert np.hypot(*(points - centre).T) == pytest.approx(radius, rel=1e-9)


@pytest.mark.parametrize("bulge", [1e-320, 1e-12, -1e-12])
def test_next_to_no_bulge_is_straight(bulge: float) -> None:
    rows = np.array([[0.0, 0.0, bulge], [10.0, 0.0, 0.0]])
    assert flatten(rows, False).tolist() == [[0.0, 0.0], [10.0, 0.0]]


def test_flattened_slot_has_its_area() -> None:
    # Rectangle and circle: 50 x 10 and radius 5.
    rows = np.array([[0, 0, 0], [50, 0, 1], [50, 10, 0], [0, 10, 1]], dtype=float)
    area = shapely.Polygon(flatten(rows, True)).area
    assert area == pytest.approx(578.5398163397448, abs=31.5 * 0.005)
    assert area < 578.5398163397448


def notched(half_width: float) -> Spec:
    """A block with a slit from above, 40 mm deep, `half_width` to each side at its mouth and at its foot."""
    w = half_width
    ring = corners((0, 0), (90, 0), (90, 60), (45 + w, 60), (45 + w, 20), (45 - w, 20), (45 - w, 60), (0, 60))
    return Spec("wing", 6.0, 2, ring, (90.0, 60.0), 5400 - 80 * w, pairs=True)


def rounded_by_a_beam(m: Made, spec: Spec) -> None:
    """Give both wings the path that a round beam of the kerf's width takes around their outline."""
    ring = shapely.Polygon([(x, y) for x, y, _ in spec.outline(0.0)])
    around = shapely.get_coordinates(ring.buffer(KERF / 2, quad_segs=16))[:-1]
    for spot in m.plan["sheets"][0]["parts"]:
        if spot["part"] == "wing":
            flip = -1.0 if spot["mirrored"] else 1.0
            rows = [(flip * x + spot["x_mm"], y + spot["y_mm"], 0.0) for x, y in around]
            m.change(ONE, m.find(ONE, "CUT_OUTSIDE", "wing", spot["copy"]), rows=rows)


@pytest.mark.parametrize(("half_width", "codes"), [(0.5, set()), (0.08, {"detail-lost"})])
def test_a_slit_narrower_than_the_kerf_is_told(half_width: float, codes: set[str], tmp_path: Path) -> None:
    spec = notched(half_width)
    m = made({**SPECS, "wing": spec})
    rounded_by_a_beam(m, spec)
    m.plan["sheets"][0]["cut_length_mm"] = sum(
        shapely.LinearRing(flat(one.rows, 400)).length for one in m.jobs[ONE] if one.layer.startswith("CUT")
    )
    verdict = check_folder(m.write(tmp_path))
    assert verdict.codes == codes, str(verdict)


def with_fillets(points: list[tuple[float, float]], rounded: set[int], radius: float) -> list[Row]:
    """A ring of horizontal and vertical lines with some of its corners rounded, in chords within 0.005 mm."""
    rows: list[Row] = []
    for k, (x, y) in enumerate(points):
        (px, py), (nx, ny) = points[k - 1], points[(k + 1) % len(points)]
        ax, ay = np.sign(px - x), np.sign(py - y)
        bx, by = np.sign(nx - x), np.sign(ny - y)
        for turn in np.linspace(0.0, math.pi / 2, 9) if k in rounded else ():
            a, b = radius * (1.0 - math.sin(turn)), radius * (1.0 - math.cos(turn))
            rows.append((float(x + a * ax + b * bx), float(y + a * ay + b * by), 0.0))
        if k not in rounded:
            rows.append((x, y, 0.0))
    return rows


@pytest.mark.parametrize(
    ("radius", "codes"),
    [(0.5, set()), (1.0, set()), (1.4, set()), (2.5, {"hole-wrong", "shape"})],
)
def test_corners_less_round_than_the_beam_may_be_cut_sharp(
    radius: float, codes: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A path half a wide kerf off such an inner corner has none; the beam makes it round."""
    monkeypatch.setattr("tests.checking.made.KERF", 3.0)
    window = [(20.0, 20.0), (100.0, 20.0), (100.0, 100.0), (20.0, 100.0)]
    cup = [(0, 0), (90, 0), (90, 60), (70, 60), (70, 20), (20, 20), (20, 60), (0, 60)]

    def planned_or_cut(points: list[tuple[float, float]], inner: set[int]) -> Callable[[float], list[Row]]:
        return lambda out: corners(*points)(out) if out else with_fillets(points, inner, radius)

    corner = (1.0 - math.pi / 4) * radius**2
    plate = replace(
        SPECS["plate"],
        holes=(planned_or_cut(window, {0, 1, 2, 3}), SPECS["plate"].holes[1]),
        area=SPECS["plate"].area + 4 * corner,
    )
    area = 5400.0 - 2000.0 + 2 * corner
    wing = Spec("wing", 6.0, 2, planned_or_cut(cup, {4, 5}), (90.0, 60.0), area, pairs=True)
    verdict = check_folder(made({**SPECS, "plate": plate, "wing": wing}).write(tmp_path))
    assert verdict.codes == codes, str(verdict)


# -- many files -----------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_hundred_files_with_a_thousand_copies(tmp_path: Path) -> None:
    m = made()
    plan = m.plan
    template = plan["sheets"][0]
    ring = SPECS["lever"].outline
    lever = next(one for one in plan["parts"] if one["part"] == "lever")
    plan["parts"], plan["sheets"], m.jobs = [{**lever, "copies": 1000}], [], {}
    for k in range(100):
        name, entities, placed = f"jobs/job-{k:03d}.dxf", [Entity("SHEET", block(0, 0, 400, 250)(0))], []
        for row in range(10):
            copy = 10 * k + row + 1
            x, y = 10.0, 10.0 + 20.0 * row
            rows = [(px + x, py + y, b) for px, py, b in ring(KERF / 2)]
            entities.append(Entity("CUT_OUTSIDE", rows, True, "lever", copy))
            outline = flat([(px + x, py + y, b) for px, py, b in ring(0.0)])
            spot = {"part": "lever", "copy": copy, "x_mm": x, "y_mm": y, "turn_deg": 0.0, "mirrored": False}
            placed.append({**spot, "outline_mm": outline, "holes_mm": []})
        m.jobs[name] = entities
        cut = 10 * (200 + 2 * math.pi * 8.1)
        fill = 10 * SPECS["lever"].area / 100_000
        plan["sheets"].append(
            {
                **template,
                "stock_number": k + 1,
                "job": name,
                "parts": placed,
                "cut_length_mm": cut,
                "fill": fill,
            }
        )
    group = plan["groups"][0]
    group.update(parts=1000, sheets_used=100, proven=False, waste=1 - fill)
    group["to_buy"] = [{"stock": "eva 6 mm", "count": 100}]
    plan["groups"] = [group]
    m.write(tmp_path, sizes=dict.fromkeys(m.jobs, (400.0, 250.0)))
    start = time.perf_counter()
    verdict = check_folder(tmp_path)
    assert verdict.ok, str(verdict)
    assert verdict.copies == 1000
    assert time.perf_counter() - start < 30.0  # some 3 s on a machine with nothing else to do


def test_it_reads_what_ezdxf_mends(right: dict[str, bytes], tmp_path: Path) -> None:
    """A file that another program saved anew is right as long as what is cut is."""
    lay(tmp_path, right)
    document = ezdxf.readfile(tmp_path / ONE)
    document.saveas(tmp_path / ONE)
    assert check_folder(tmp_path).ok
