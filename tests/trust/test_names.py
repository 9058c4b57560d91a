"""What names may do: be text, and nothing else to a shell, spreadsheet, browser, terminal or file system."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from nestkit.build import load_build
from nestkit.checking import check_folder
from nestkit.errors import InputError
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from tests.build_bench import Bench
from tests.fuzz.guard import watched
from tests.fuzz.targets import written_plan


@pytest.fixture
def bench(tmp_path) -> Bench:
    return Bench(tmp_path)


#: Names that a build file may hold, each of which means something to another program.
NAMES = [
    "=HYPERLINK(\"http:x\")",
    "@SUM(A1)",
    "+1+1",
    "<script>alert(1)<",
    "<img src=x onerror=alert(1)>",
    "'\"><svg onload=alert(1)>",
    "{{ 7*7 }}",
    "con",
    "nul.txt",
    "..",
    "~",
    "$(touch pwned)",
    "`touch pwned`",
    "%TEMP%",
    "\U0001f980 crab",
    "-rf",
]  # fmt: skip


@pytest.mark.parametrize(
    "name", ["a/b", "..\\up", "/etc/passwd", "a\0b", "a\nb", "\x1b[31mred", "\u202egnp.exe"]
)
def test_names_that_could_be_paths_or_steer_a_terminal_are_refused(bench, name):
    with pytest.raises(InputError) as refused:
        bench.load(('name = "plate"', f"name = {json_text(name)}"))
    text = str(refused.value)
    assert "part[1]" in text
    assert text.replace("\n", "").isprintable()


def json_text(text: str) -> str:
    """A TOML string that says ``text``."""
    return '"' + "".join(f"\\U{ord(letter):08X}" for letter in text) + '"'


def test_names_of_parts_and_materials_make_no_path_no_formula_and_no_script(bench, tmp_path):
    """Through the whole program: everything stays in the folder, and the check finds nothing wrong."""
    pieces, sheets = [], []
    for number, name in enumerate(NAMES):
        told = json_text(name)
        sheets.append(f"[[sheet]]\nmaterial = {told}\nthickness = {number + 2}\nsize = [500, 400]\n")
        pieces.append(f'[[part]]\nname = {told}\nfrom = "flag.svg#plate"\nthickness = {number + 2}\n')
    (bench.folder / "build.toml").write_text(
        f'[build]\nname = {json_text(NAMES[3])}\n[cutter]\nkind = "knife"\nbed = [600, 400]\n'
        + "".join(sheets)
        + "".join(pieces)
    )
    out = tmp_path / "results" / "out"
    with watched(tmp_path / "results"):
        build = load_build(bench.folder / "build.toml")
        planned = make_plan(build, Effort(rounds=1))
        write_plan(build, planned.plan, planned.jobs, out)
        verdict = check_folder(out)
    assert [str(fault) for fault in verdict.faults] == []
    assert {path.parent for path in out.rglob("*") if path.is_file()} == {out, out / "jobs"}
    assert all(re.fullmatch(r"[\w.-]+", path.name) for path in out.rglob("*"))
    for table in out.glob("*.csv"):
        rows = csv.reader(io.StringIO(table.read_text("utf-8-sig"), newline=""))
        assert not [cell for row in rows for cell in row if cell[:1] in ("=", "+", "-", "@")], table.name
    report = (out / "report.html").read_text()
    assert not re.search(r"<(script>alert|img|svg onload)", report)
    assert "49" not in re.findall(r"<h1[^>]*>(.*?)</h1>", report, re.S)


def test_a_plan_that_names_files_elsewhere_is_refused(tmp_path):
    folder = written_plan(tmp_path / "plan")
    text = (folder / "plan.json").read_text()
    for job in ("../out.dxf", "/etc/passwd", "jobs/../../up.dxf", "jobs\\up.dxf"):
        changed = json.loads(text)
        changed["sheets"][0]["job"] = job
        (folder / "plan.json").write_text(json.dumps(changed))
        with pytest.raises(InputError, match="is no name of the kind"):
            check_folder(folder)
    (folder / "plan.json").write_text(text)
    assert check_folder(folder).ok
