"""templates.pdf as the check sees it from outside."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from nestkit.checking import Fault, check_folder
from nestkit.output import write_plan
from tests.output.sample_plan import lantern

CASE = lantern()


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("lantern") / "out"
    write_plan(CASE.build, CASE.plan, CASE.jobs, out)
    return out


@pytest.fixture
def folder(written: Path, tmp_path: Path) -> Path:
    """A copy of what was written, which may be damaged."""
    return Path(shutil.copytree(written, tmp_path / "out"))


def faults(folder: Path) -> list[Fault]:
    return [fault for fault in check_folder(folder).faults if fault.file == "templates.pdf"]


def change(folder: Path, **values: object) -> None:
    file = folder / "plan.json"
    plan = json.loads(file.read_bytes())
    plan["templates"] = {**plan["templates"], **values} if values else None
    file.write_text(json.dumps(plan))


def test_what_was_written_is_right(folder: Path) -> None:
    assert (folder / "templates.pdf").is_file()
    assert faults(folder) == []


def test_a_missing_file(folder: Path) -> None:
    (folder / "templates.pdf").unlink()
    assert [fault.code for fault in faults(folder)] == ["missing-file"]


@pytest.mark.parametrize("damage", [b"", b"%PDF-1.4\n", b"<html></html>"])
def test_a_damaged_file(folder: Path, damage: bytes) -> None:
    (folder / "templates.pdf").write_bytes(damage)
    assert [fault.code for fault in faults(folder)] == ["unreadable"]


def test_a_cut_off_file(folder: Path) -> None:
    data = (folder / "templates.pdf").read_bytes()
    (folder / "templates.pdf").write_bytes(data[: len(data) // 2])
    assert [fault.code for fault in faults(folder)] == ["unreadable"]


def test_another_number_of_pages(folder: Path) -> None:
    pages = json.loads((folder / "plan.json").read_bytes())["templates"]["pages"]
    change(folder, pages=pages + 1)
    (fault,) = faults(folder)
    assert (fault.code, fault.text) == ("templates", f"it has {pages} pages, and the plan says {pages + 1}")


def test_a_part_cut_by_hand_without_a_template(folder: Path) -> None:
    change(folder, parts=[])
    (fault,) = faults(folder)
    assert (fault.code, fault.part) == ("templates", "mast step")
    change(folder, left_out=["mast step"])
    assert faults(folder) == []


def test_every_part_is_wanted_when_all_are(folder: Path) -> None:
    change(folder, which="all")
    assert {fault.part for fault in faults(folder)} == {part.name for part in CASE.build.parts} - {
        "mast step"
    }


def test_a_file_that_the_plan_does_not_speak_of(folder: Path) -> None:
    change(folder)
    assert [fault.code for fault in faults(folder)] == ["templates"]
