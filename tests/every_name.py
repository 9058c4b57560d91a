"""Every name that a maker meets, in one list made from the code: to read through before a release.

    python -m tests.every_name [KIND ...]

Commands and options, keys of the build file and their fixed values, words that layers of a drawing may say,
layers of a job, files, columns and keys of what is written, headings, codes, and messages with ``{}`` where
a value goes. Each line has the kind, the name, where it comes from and what is said of it.
"""

from __future__ import annotations

import ast
import csv
import io
import json
import re
import sys
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, NamedTuple

import typer

from nestkit.build.json_schema import build_file_schema
from nestkit.build.readings import COLUMNS as READ_COLUMNS
from nestkit.checking import CODES
from nestkit.cli import app
from nestkit.codes import FINDINGS
from nestkit.cutting.model import (
    CUT_INSIDE_LAYER,
    CUT_OUTSIDE_LAYER,
    LABEL_LAYER,
    MARK_LAYER,
    SHEET_LAYER,
    pocket_layer,
)
from nestkit.geometry import LineKind
from nestkit.output.blank_list import blanks_bytes
from nestkit.output.coupon import READING_COLUMNS
from nestkit.output.lists import folds_bytes
from nestkit.output.palette import layer_task
from nestkit.output.write import plan_files
from nestkit.scales.model import Comparison, GroupResult, Leftover, SizeResult
from nestkit.scales.table import table_bytes
from tests.output.sample_plan import lantern

PACKAGE = Path(__file__).parent.parent / "nestkit"
#: Calls whose texts a maker reads, by the last word of what is called.
TOLD = (
    *("Finding", "Problem", "one", "OutputError", "Interrupted", "ValueError", "FlawError", "BadSvgError"),
    *("PatternError", "BadParameter", "PydanticCustomError", "need", "_need", "_tell", "add", "_note"),
    *("_Note", "echo", "say", "too_many", "_too_large", "_damaged", "Caution"),
)
#: Headings and the like; everything else on a page is told in sentences.
HEADINGS = frozenset(("h1", "h2", "h3", "h4", "th", "dt", "summary", "legend", "label"))


class Name(NamedTuple):
    """One line of the list."""

    kind: str
    name: str
    where: str
    said: str = ""


@cache
def every_name() -> tuple[Name, ...]:
    """The whole list, kind by kind."""
    return (*commands(), *keys(), *layers(), *written(), *codes(), *messages())


def commands() -> Iterator[Name]:
    """Commands, their arguments and options with their choices."""
    yield from _command(typer.main.get_command(app), "nestkit")


def _command(command: Any, path: str) -> Iterator[Name]:
    yield Name("command", path, "cli", (command.help or "").split("\n")[0])
    for param in command.params:
        names = ", ".join([*param.opts, *param.secondary_opts])
        value = param.metavar or ""
        if param.param_type_name == "argument":
            names, value = value, ""
        yield Name("option", names, path, " | ".join(filter(None, (value, param.help))))
    for name, inner in getattr(command, "commands", {}).items():
        yield from _command(inner, f"{path} {name}")


def keys() -> Iterator[Name]:
    """Tables and keys of the build file, and the texts that a key chooses from."""
    schema = build_file_schema()
    tables = {"the file": schema, **schema["$defs"]}
    where: dict[tuple[str, str], list[str]] = {}
    for table, rules in tables.items():
        for key, value in rules.get("properties", {}).items():
            choices = ", ".join(dict.fromkeys(_choices(value)))
            # A key that is a table is described there when the words are the same.
            table_of = tables.get(value.get("$ref", "").rpartition("/")[2], {})
            told = value.get("description") or table_of.get("description", "")
            said = " | ".join(filter(None, (told, choices)))
            where.setdefault((key, said), []).append(table.removesuffix("Table"))
    # What is said of a key in the same words in several tables stands once.
    for (key, said), found in where.items():
        yield Name("key", key, ", ".join(found), said)


def _choices(value: Any) -> Iterator[str]:
    if isinstance(value, list):
        for each in value:
            yield from _choices(each)
    elif isinstance(value, dict):
        yield from (str(each) for each in value.get("enum", ()))
        if "const" in value:
            yield str(value["const"])
        for inner in ("anyOf", "oneOf", "items"):
            yield from _choices(value.get(inner, []))


def layers() -> Iterator[Name]:
    """What layers of drawings may say, and the layers of the cutter's files."""
    for kind in LineKind:
        yield Name("line", kind.value, "a drawing's layers and [lines]")
    own = (LABEL_LAYER, MARK_LAYER, pocket_layer(1), CUT_INSIDE_LAYER, CUT_OUTSIDE_LAYER, SHEET_LAYER)
    for layer in own:
        yield Name("layer", layer, "cutter files", layer_task(layer))


def written() -> Iterator[Name]:
    """Files of a plan and of a comparison, the columns of lists, the keys of JSON, the report's headings."""
    case = lantern()
    files = plan_files(case.build, case.plan, case.jobs)
    files["folds.csv"] = folds_bytes(case.build, case.jobs)
    files["blanks.csv"] = blanks_bytes(case.build, case.jobs)
    files["scales.csv"] = table_bytes(_comparison())
    for name, data in sorted(files.items()):
        yield Name("file", name, "a plan's folder" if name != "scales.csv" else "a comparison's folder")
        if name.endswith(".csv"):
            head = next(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
            yield from (Name("column", column, name) for column in head)
    for column in (*READ_COLUMNS, *READING_COLUMNS):
        yield Name("column", column, "readings.csv")
    for key in sorted(set(_json_keys(json.loads(files["plan.json"])))):
        yield Name("json", key, "plan.json")
    page = _Headings()
    page.feed(files["report.html"].decode())
    for tag, text in dict.fromkeys(page.found):
        yield Name("heading", text, f"report.html <{tag}>")


def _comparison() -> Comparison:
    group = GroupResult(
        "eva", 6.0, 1, 1, 1, True, 9.5, 1e6, 8e5, 60.0, (), (), Leftover(1, 5e4, (400.0, 120.0)), ()
    )
    return Comparison("Storm lantern", "mm", "floor", 240.0, (SizeResult(1.0, 240.0, 240.0, (group,)),))


def _json_keys(data: Any, path: str = "") -> Iterator[str]:
    if isinstance(data, dict):
        for key, value in data.items():
            yield f"{path}{key}"
            yield from _json_keys(value, f"{path}{key}.")
    elif isinstance(data, list):
        for value in data:
            yield from _json_keys(value, path)


class _Headings(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in HEADINGS:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self._open and self._open[-1] == tag:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        text = " ".join(data.split())
        if self._open and text:
            self.found.append((self._open[-1], text))


def codes() -> Iterator[Name]:
    """Codes of what is noticed, and of what the check finds."""
    for about, rows in FINDINGS.items():
        yield from (Name("code", code, about, meaning) for code, meaning in rows.items())
    yield from (Name("code", code, "nestkit check", meaning) for code, meaning in CODES.items())


def messages() -> Iterator[Name]:
    """Texts in calls that tell a maker something, in the order of the source; values are shown as ``{}``."""
    for file in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for call in ast.walk(tree):
            if isinstance(call, ast.Call) and ast.unparse(call.func).rpartition(".")[2] in TOLD:
                texts = [template(each) for each in (*call.args, *(k.value for k in call.keywords))]
                told = " | ".join(text for text in texts if re.search(r"[a-z]{2}", text))
                if " " in told.strip():
                    where = f"{file.relative_to(PACKAGE.parent)}:{call.lineno}"
                    yield Name("message", told, where, ast.unparse(call.func))


def template(node: ast.expr) -> str:
    """A text's fixed words; empty for what is no text."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(template(each) or "{}" for each in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return template(node.left) + template(node.right)
    if isinstance(node, ast.IfExp):
        return " / ".join(filter(None, (template(node.body), template(node.orelse))))
    return ""


def main() -> None:
    """Prints the list, or the kinds that are named."""
    wanted = frozenset(sys.argv[1:])
    for name in every_name():
        if not wanted or name.kind in wanted:
            print("\t".join(name))


if __name__ == "__main__":
    main()
