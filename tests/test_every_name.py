"""The list of names finds what it should, and what it lists keeps the house's rules."""

from __future__ import annotations

import ast
import pickle
import re
from collections import Counter
from pathlib import Path

import pytest

from nestkit.errors import DrawingError, InputError, Interrupted, NestkitError, OutputError
from nestkit.guide import page
from tests.every_name import Name, every_name, main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def named(kind: str) -> list[Name]:
    return [one for one in every_name() if one.kind == kind]


def test_every_kind_of_name_is_found() -> None:
    """Least counts are rough; a reader that finds nothing any more falls far below them."""
    found = Counter(one.kind for one in every_name())
    least = {
        "command": 16, "option": 60, "key": 100, "line": 5, "layer": 6, "file": 12, "column": 100,
        "json": 100, "heading": 40, "code": 100, "message": 350,
    }  # fmt: skip
    assert set(found) == set(least)
    assert {kind: found[kind] for kind in least if found[kind] < least[kind]} == {}


def test_every_command_is_found_and_stands_in_the_handbook() -> None:
    names = [one.name for one in named("command")]
    assert {f"nestkit {name}" for name in ("new", "parts", "plan", "scales", "check", "offcuts use")} < set(
        names
    )
    told = README + page("start") + page("offcuts")
    assert [name for name in names if name not in told] == []


def test_every_key_and_code_stands_in_the_guide() -> None:
    keys = page("keys")
    names = {one.name for one in named("key")}
    headed = {name for name in names if re.search(rf"^##.*\b{name}\b", keys, re.M)}
    assert [name for name in names - headed if f"`{name}`" not in keys] == []
    assert [one.name for one in named("code") if f"`{one.name}`" not in page("codes")] == []


def test_every_layer_and_file_stands_in_the_guide() -> None:
    told = page("output")
    lists = [one.name for one in named("file") if one.name.endswith(".csv") and one.name != "scales.csv"]
    assert len(lists) > 5
    for name in (*lists, *(one.name for one in named("layer"))):
        assert f"`{name}`" in told


def test_what_is_said_has_words() -> None:
    """An option, a key or a code that says nothing of itself."""
    silent = [one for kind in ("command", "option", "key", "code") for one in named(kind) if not one.said]
    assert silent == []


def test_a_list_has_no_column_twice() -> None:
    for file in {one.where for one in named("column")}:
        columns = [one.name for one in named("column") if one.where == file]
        assert len(columns) == len(set(columns)), file


def test_every_problem_says_what_to_do() -> None:
    """`InputError.one(where, what, todo)`, `OutputError.one(...)`, `Problem(...)`: none without its third."""
    lacking, seen = [], 0
    for file in sorted((ROOT / "nestkit").rglob("*.py")):
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and ast.unparse(call.func).endswith(
                ("Error.one", "Problem", "cls.one")
            ):
                seen += 1
                given = [*call.args, *(word.value for word in call.keywords)]
                starred = any(isinstance(each, ast.Starred) for each in given)
                if not starred and (len(given) < 3 or ast.unparse(given[2]) in ("''", '""')):
                    lacking.append(f"{file.name}:{call.lineno}")
    assert lacking == []
    assert seen > 80


@pytest.mark.parametrize("kind", [InputError, DrawingError, OutputError])
def test_an_error_tells_all_and_comes_back_whole_from_another_process(kind: type[NestkitError]) -> None:
    error = kind.one("build.toml: part[7] 'blade'", "its outline is open", "Join its ends")
    assert str(error) == "build.toml: part[7] 'blade': its outline is open. Join its ends."
    back = pickle.loads(pickle.dumps(error))
    assert (type(back), str(back), back.problems) == (kind, str(error), error.problems)
    assert isinstance(error, OSError if kind is OutputError else ValueError)


def test_a_stop_comes_back_whole_too() -> None:
    back = pickle.loads(pickle.dumps(Interrupted("Stopped.", "out/bell-stopped-1")))
    assert (str(back), back.kept, back.exit_code) == ("Stopped.", "out/bell-stopped-1", 130)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("plan", "b.toml", "--paper", "A5"), "there is no 'A5'. Write A4, A3 or letter."),
        (("plan", "b.toml", "--templates", "some"), "there is no 'some'. Write hand, all or none."),
        (("plan", "b.toml", "--seed", "x"), "'x' is no whole number. Write 0 or more."),
        (("plan", "b.toml", "--cores", "0"), "0 is too small. Write 1 to 256."),
        (("plan", "b.toml", "--scale", "nan"), "'nan' is no number. Write 0.001 to 1000."),
        (("plan", "b.toml", "--seconds", "1e9"), "1e9 is too large. Write 0 to 86400."),
        (("scales", "b.toml", "--from", "small"), "'small' is no number. Write for example 1.5."),
        (("offcuts", "list", "--unit", "cm"), "there is no 'cm'. Write mm or in."),
        (("offcuts", "drop", "one"), "'one' is no whole number. Write 1 or more."),
    ],
)
def test_values_that_no_option_takes_are_told_in_our_words(words: tuple[str, ...], told: str) -> None:
    from typer.testing import CliRunner

    from nestkit.cli import app

    done = CliRunner().invoke(app, words, env={"COLUMNS": "200", "TERMINAL_WIDTH": "200"})
    assert done.exit_code == 2
    shown = " ".join(done.output.replace("\u2502", " ").split())
    assert told in shown
    assert "Value error" not in shown


def test_the_script_prints_the_kinds_that_are_named(monkeypatch, capsys) -> None:
    monkeypatch.setattr("sys.argv", ["every_name", "layer", "line"])
    main()
    rows = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    assert {row[0] for row in rows} == {"layer", "line"}
    assert all(len(row) == 4 for row in rows)
