"""Damaged, missing and foreign files: a fault or an InputError, never a traceback."""

from __future__ import annotations

import json
import math
import random
import time
from collections.abc import Callable
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.checking import CODES, Fault, check_folder
from nestkit.checking.bulges import flatten
from nestkit.errors import InputError
from tests.checking.made import KERF, ONE, SPECS, TWO, Entity, block, flat, made

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
        (b'{"format": "nestkit-plan", "version": 0}', "version 0"),
        (b'{"format": "nestkit-plan"}', "version None"),
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
    assert len(caught.value.problems) == 8  # build, unit, cutter, layout, parts, groups, sheets, unplaced


def test_a_fault_says_where_what_and_what_to_do() -> None:
    fault = Fault("moved", "jobs/a.dxf", "wing", 2, (12.04, 3.0), "the part lies elsewhere", "Do this")
    where = "jobs/a.dxf, 'wing' copy 2, at (12.0, 3.0) mm"
    assert str(fault) == f"{where}: the part lies elsewhere. Do this."
    with pytest.raises(ValueError, match="no such fault code"):
        Fault("strange", "plan.json")
    assert all(code == code.lower() and " " not in code for code in CODES)


@pytest.mark.parametrize(
    "name", ["jobs", "report.html", "shopping.csv", "cutting.csv", "jobs.csv", "layers.csv", "gluing.csv"]
)
def test_each_missing_file_is_told_once(name: str, tmp_path: Path) -> None:
    made().write(tmp_path)
    gone = sorted((tmp_path / "jobs").glob("*.svg")) if name == "jobs" else [tmp_path / name]
    for path in gone:
        path.unlink()
    faults = check_folder(tmp_path).faults
    assert [(fault.code, tmp_path / fault.file) for fault in faults] == [("missing-file", p) for p in gone]


# -- arcs -----------------------------------------------------------------------------------------------


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
