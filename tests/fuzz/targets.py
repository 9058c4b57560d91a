"""Every reader as a function of bytes: what is allowed comes back as a word, anything else goes through.

Allowed is that the input was read, that it was read with findings, or that it was refused with one clear
error. A traceback, a network, a file outside the folder are not.
"""

from __future__ import annotations

import json
import math
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from nestkit.build import load_build
from nestkit.build.readings import read_readings
from nestkit.checking import check_folder
from nestkit.drawings import assemble, part_shape, read_drawing, select
from nestkit.errors import LONGEST_TEXT, InputError, OutputError
from nestkit.folds.calibrate import calibrate
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from nestkit.stock.blanks import rectangle
from nestkit.stock.pieces import Piece
from nestkit.stock.shop import Shop
from tests.drawings.test_dxf_fuzz import BASES
from tests.fuzz.guard import watched

SAMPLES = Path(__file__).parents[2] / "samples"
SEEDS = Path(__file__).parent / "seeds"

READ, FINDINGS, REFUSED = "read", "findings", "refused"

#: A message that a maker can read: no page of it, and nothing of the program's inside.
_MOST_PROBLEMS, _LONGEST_LINE = 6000, 3 * LONGEST_TEXT + 50
_INSIDE = (
    "Traceback",
    "object at 0x",
    "NoneType",
    "numpy.",
    "np.float",
    "shapely.",
    "GEOSException",
    "<class",
)


@dataclass(frozen=True)
class Target:
    """A reader under test.

    Parameters
    ----------
    form : str
        Which of `mutations.MUTATIONS` damages its input.
    make : callable
        From a folder that may be written to, a function that reads bytes and returns a word.
    seeds : callable
        From the same folder, the inputs to start from.
    """

    form: str
    make: Callable[[Path], Callable[[bytes], str]]
    seeds: Callable[[Path], list[bytes]]


def judge_refusal(error: InputError) -> str:
    """Fail when a refusal's message is none that a maker can use."""
    assert 0 < len(error.problems) <= _MOST_PROBLEMS
    for problem in error.problems:
        assert min(len(problem.where), len(problem.what)) > 0, f"an empty message: {problem!r}"
        judge_message(str(problem))
    return REFUSED


def judge_message(text: str) -> None:
    """Fail when a message is none that a maker can use, or does something to the terminal."""
    assert len(text) <= _LONGEST_LINE, f"a message of {len(text)} characters: {text[:200]}"
    assert text.isprintable(), f"a message with control characters: {text!r}"
    assert not any(word in text for word in _INSIDE), f"a message for programmers: {text}"


def _drawing(suffix: str) -> Callable[[Path], Callable[[bytes], str]]:
    def make(folder: Path) -> Callable[[bytes], str]:
        file = folder / f"drawing{suffix}"

        def read(data: bytes) -> str:
            file.write_bytes(data)
            try:
                with watched(folder):
                    drawing = read_drawing(file)
                    found = assemble(select(drawing, None), file=drawing.file)
            except InputError as error:
                return judge_refusal(error)
            try:
                part_shape(drawing)
            except InputError as error:  # most drawings hold more than one part
                judge_refusal(error)
            for finding in (*drawing.findings, *found.findings):
                judge_message(str(finding))
            assert all(math.isfinite(shape.outline.area) for shape in found.shapes)
            return FINDINGS if drawing.findings or found.findings else READ

        return read

    return make


def _build(folder: Path) -> Callable[[bytes], str]:
    for drawing in (*SAMPLES.glob("*/*.svg"), *SAMPLES.glob("*/*.dxf"), *SEEDS.glob("*.svg")):
        shutil.copy(drawing, folder)
    file = folder / "build.toml"

    def read(data: bytes) -> str:
        file.write_bytes(data)
        try:
            with watched(folder):
                build = load_build(file)
        except InputError as error:
            return judge_refusal(error)
        assert all(math.isfinite(part.shape.outline.area) for part in build.parts)
        findings = [*build.findings, *(finding for part in build.parts for finding in part.findings)]
        for finding in findings:
            judge_message(str(finding))
        return FINDINGS if findings else READ

    return read


def _readings(folder: Path) -> Callable[[bytes], str]:
    file = folder / "readings.csv"

    def read(data: bytes) -> str:
        file.write_bytes(data)
        try:
            with watched(folder):
                for foam in read_readings(file):
                    calibrate(foam.readings, foam.thickness, "mm")
        except InputError as error:
            return judge_refusal(error)
        return READ

    return read


def written_plan(folder: Path) -> Path:
    """A small plan of two sheets with a fold, a hole and marks, as ``nestkit plan`` writes it."""
    build = load_build(SEEDS / "build.toml")
    planned = make_plan(build, Effort(rounds=1))
    write_plan(build, planned.plan, planned.jobs, folder)
    assert check_folder(folder).ok
    return folder


def _checked(name: str) -> Callable[[Path], Callable[[bytes], str]]:
    """The check of a sound plan in which one file is replaced by the bytes."""

    def make(folder: Path) -> Callable[[bytes], str]:
        plan = folder / "plan"
        if not plan.exists():
            written_plan(plan)
        file = sorted(plan.glob(name))[0]
        sound = file.read_bytes()

        def read(data: bytes) -> str:
            file.write_bytes(data)
            try:
                with watched(folder):
                    verdict = check_folder(plan)
            except InputError as error:
                return judge_refusal(error)
            finally:
                file.write_bytes(sound)
            for fault in verdict.faults:
                judge_message(str(fault))
            return FINDINGS if verdict.faults else READ

        return read

    return make


def _used(file: Path) -> str:
    """Everything that the commands do with a shop."""
    with Shop(file) as shop:
        assert shop.id is not None
        found = shop.pieces()
        faults = shop.faults()
        shop.last_booking()
        shop.add([SQUARE], "add a square")
        if found:
            shop.drop([found[0].number], "drop the first")
        shop.undo()
    for fault in faults:
        judge_message(fault)
    return FINDINGS if faults else READ


def _shop(folder: Path) -> Callable[[bytes], str]:
    """A shop whose file is these bytes."""
    file = folder / "shop.sqlite"

    def read(data: bytes) -> str:
        for old in folder.glob("shop.sqlite*"):
            old.unlink()
        file.write_bytes(data)
        try:
            with watched(folder):
                return _used(file)
        except InputError as error:
            return judge_refusal(error)
        except OutputError as error:
            judge_message(str(error))
            return REFUSED

    return read


def _shop_row(folder: Path) -> Callable[[bytes], str]:
    """A sound shop in which the row of a piece holds these JSON values by their columns."""
    file = folder / "shop.sqlite"
    sound = _shop_seeds(folder)[0]
    shop = _shop(folder)

    def read(data: bytes) -> str:
        try:
            row = json.loads(data)
        except (ValueError, RecursionError):
            row = {"outline": data.decode("utf-8", "replace")}
        for old in folder.glob("shop.sqlite*"):
            old.unlink()
        file.write_bytes(sound)
        database = sqlite3.connect(file)
        for column, value in row.items() if isinstance(row, dict) else ():
            plain = json.dumps(value) if column == "outline" or isinstance(value, list | dict) else value
            with suppress(sqlite3.Error, OverflowError, UnicodeError):
                database.execute(f'UPDATE piece SET "{column.replace(chr(34), "")}" = ?', (plain,))
        database.commit()
        database.close()
        return shop(file.read_bytes())

    return read


SQUARE = Piece("eva", 6.0, rectangle(300.0, 200.0), place="shelf")


def _shop_seeds(folder: Path) -> list[bytes]:
    file = folder / "made.sqlite"
    with Shop(file) as shop:
        shop.add([SQUARE, replace(SQUARE, whole=True, note="from the sale")], "add two")
        shop.drop([1], "drop one")
        shop.add([SQUARE], "add another")
    data = file.read_bytes()
    file.unlink()
    return [data]


def _row_seeds(folder: Path) -> list[bytes]:
    del folder
    row = {
        "material": "eva",
        "thickness": 6.0,
        "whole": 0,
        "place": "shelf",
        "photo": "",
        "note": "",
        "went": None,
    }
    ring = [[0.0, 0.0, 0.0], [300.0, 0.0, 0.5], [300.0, 200.0, 0.0], [0.0, 200.0, 0.0]]
    hole = [[50.0, 50.0, 1.0], [90.0, 50.0, 1.0]]
    return [json.dumps({"outline": rings, **row}).encode() for rings in ([ring], [ring, hole])]


def _files(*patterns: str) -> Callable[[Path], list[bytes]]:
    def seeds(folder: Path) -> list[bytes]:
        del folder
        found = [file for pattern in patterns for root in (SAMPLES, SEEDS) for file in root.glob(pattern)]
        return [file.read_bytes() for file in sorted(found)]

    return seeds


def _from_plan(name: str) -> Callable[[Path], list[bytes]]:
    def seeds(folder: Path) -> list[bytes]:
        plan = folder / "plan"
        if not plan.exists():
            written_plan(plan)
        return [file.read_bytes() for file in sorted(plan.glob(name))]

    return seeds


def _dxf_seeds(folder: Path) -> list[bytes]:
    return [*_files("**/*.dxf")(folder), *(data for _, data in sorted(BASES.items()))]


TARGETS: dict[str, Target] = {
    "svg": Target("svg", _drawing(".svg"), _files("**/*.svg")),
    "dxf": Target("dxf", _drawing(".dxf"), _dxf_seeds),
    "build": Target("toml", _build, _files("**/*.toml")),
    "readings": Target("csv", _readings, _files("**/readings.csv")),
    "plan": Target("json", _checked("plan.json"), _from_plan("plan.json")),
    "job-dxf": Target("dxf", _checked("jobs/*.dxf"), _from_plan("jobs/*.dxf")),
    "shop": Target("bytes", _shop, _shop_seeds),
    "shop-row": Target("json", _shop_row, _row_seeds),
    "job-svg": Target("svg", _checked("jobs/*.svg"), _from_plan("jobs/*.svg")),
}
