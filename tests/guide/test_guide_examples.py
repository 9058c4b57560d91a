"""Every example in the handbook is run: build files are loaded, commands end well."""

from __future__ import annotations

import re
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from typer.testing import CliRunner

from nestkit.build import load_build
from nestkit.build.starter import write_starter
from nestkit.cli import app
from nestkit.guide import TOPICS, nearest_topic, page, titles

BLOCK = re.compile(r"^```(\w+)(?: (\S+))?\n(.*?)^```", re.M | re.S)
KINDS = {"toml", "xml", "sh"}


@dataclass(frozen=True)
class Example:
    """A block of a page: its language, the file it is written to (else none), its text."""

    kind: str
    file: str
    text: str


def examples(topic: str) -> list[Example]:
    return [Example(*found) for found in BLOCK.findall(page(topic))]


def completed(text: str, base: dict[str, Any]) -> str:
    """A whole build file from a part of one: what the part leaves out is taken from ``base``."""
    part = tomllib.loads(text)
    whole = {**base, **{key: value for key, value in part.items() if key not in ("sheet", "build")}}
    whole["build"] = {**base["build"], **part.get("build", {})}
    if "finished" in whole["build"]:
        whole["build"].pop("scale", None)
    whole["sheet"] = [*base["sheet"], *part.get("sheet", [])]
    known = {each["name"] for each in whole.get("assembly", [])}
    whole["assembly"] = [
        *whole.get("assembly", []),
        *({"name": name} for name in {p["assembly"] for p in whole["part"] if "assembly" in p} - known),
    ]
    return tomlkit.dumps(whole)


@pytest.mark.parametrize("topic", TOPICS)
def test_examples_run(topic: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = examples(topic)
    assert {block.kind for block in blocks} <= KINDS
    monkeypatch.chdir(tmp_path)
    # The shop of whoever runs the tests is left alone.
    monkeypatch.setenv("NESTKIT_SHOP", str(tmp_path / "shop.sqlite"))
    # Sizes are planned in this process; other tests have processes that do it.
    monkeypatch.setattr("nestkit.workers.Workers", lambda count, heard: ThreadPoolExecutor(1))
    write_starter(tmp_path)
    base = tomllib.loads((tmp_path / "build.toml").read_text())
    for block in blocks:
        if block.file:
            (tmp_path / block.file).write_text(block.text)
    ran = 0
    for number, block in enumerate(blocks):
        if block.kind == "toml":
            file = tmp_path / f"example-{number}.toml"
            file.write_text(block.text if block.file else completed(block.text, base))
            build = load_build(file)
            assert [str(finding) for part in build.parts for finding in part.findings] == []
        elif block.kind == "sh":
            for line in block.text.splitlines():
                words = line.split()
                assert words[0] == "nestkit"
                # Chance and clock are kept out of it; what is asked for stays.
                more = {"plan": ["--rounds", "1"], "scales": ["--rounds", "1", "--no-cache"]}.get(
                    words[1], []
                )
                done = CliRunner().invoke(app, [*words[1:], *more], catch_exceptions=False)
                assert done.exit_code == 0, f"{line}\n{done.output}"
                ran += 1
    assert ran or "sh" not in {block.kind for block in blocks}


def test_every_page_has_a_title_and_no_long_lines_of_code() -> None:
    assert list(titles()) == list(TOPICS)
    for topic in TOPICS:
        text = page(topic)
        assert text.startswith(f"# {titles()[topic]}\n\n")
        assert all(len(line) <= 100 for block in examples(topic) for line in block.text.splitlines())


def test_pages_name_no_topic_that_is_missing() -> None:
    for topic in TOPICS:
        assert set(re.findall(r"nestkit guide ([a-z-]+)", page(topic))) <= set(TOPICS)


def test_guide_command_shows_pages_plain_when_piped() -> None:
    listed = CliRunner().invoke(app, ["guide"])
    assert all(topic in listed.output and titles()[topic] in listed.output for topic in TOPICS)
    shown = CliRunner().invoke(app, ["guide", "folds"])
    assert (shown.exit_code, shown.output) == (0, page("folds"))


def test_a_mistyped_topic_is_guessed() -> None:
    assert nearest_topic("Drawing") == "drawings"
    with pytest.raises(Exception, match=r"no topic 'fold'\. Did you mean 'folds'\?"):
        CliRunner().invoke(app, ["guide", "fold"], catch_exceptions=False)
    with pytest.raises(Exception, match="There are: start, build-file"):
        CliRunner().invoke(app, ["guide", "xyzzy"], catch_exceptions=False)


def test_every_key_of_the_guide_is_in_the_schema() -> None:
    # Keys in backquotes on the build file's page are keys that a build file has.
    from nestkit.build.tables import BuildFile

    schema = BuildFile.model_json_schema()
    keys = {key for table in schema["$defs"].values() for key in table.get("properties", {})}
    words = {"laser", "knife", "hand", "any", "half", "quarter", "none"}
    named = set(re.findall(r"`([a-z_]+)(?: = [^`]*)?`", page("build-file")))
    assert named - words <= keys
