"""The handbook's page of every key, made from the same descriptions as the JSON Schema."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nestkit.guide
from nestkit.build.json_schema import build_file_schema

#: The page that `nestkit guide keys` shows.
KEYS_PAGE = Path(nestkit.guide.__file__).with_name("keys.md")

_HEAD = """# Every key of the build file

Made from the build file's own rules (`nestkit schema` prints them for editors). A key in **bold** must be
given; "left out" says what holds without it. Lengths are in the build's units where a key says so.
"""
_NUMBERS = {"number": "number", "integer": "whole number", "string": "text", "boolean": "true or false"}


def key_list_text() -> str:
    """The page's Markdown: a section for each table, a row for each key."""
    schema = build_file_schema()
    tables: dict[str, Any] = schema["$defs"]
    drawn = tables["PartTable"]["properties"]
    text = [_HEAD]
    for name, value in schema["properties"].items():
        if name == "part":
            continue
        if "$ref" in value:
            text += _section(f"[{name}]", _table(tables, value))
        elif "items" in value:
            text += _section(f"[[{name}]]", _table(tables, value["items"]))
        elif name == "hardware":
            text += _section("[hardware.NAME]", tables["HardwareTable"])
        else:
            text.append(f"## [{name}]\n\n{value['description']}\n")
    text += _section("[[part]], drawn", tables["PartTable"], said={})
    for choice in schema["properties"]["part"]["items"]["oneOf"][1:]:
        table = _table(tables, choice)
        pattern = table["properties"]["pattern"]["const"]
        text += _section(f'[[part]], pattern = "{pattern}"', table, said=drawn)
    text += _section("A window of a prism or box", tables["WindowTable"])
    text += _section("finished in [build]", tables["FinishedTable"])
    return "\n".join(text)


def _table(tables: dict[str, Any], reference: dict[str, Any]) -> dict[str, Any]:
    table: dict[str, Any] = tables[reference["$ref"].rpartition("/")[2]]
    return table


def _section(title: str, table: dict[str, Any], said: dict[str, Any] | None = None) -> Iterator[str]:
    """A heading and a table of keys; those that `said` describes in the same words are not told again."""
    yield f"## {title}\n\n{table['description']}\n"
    rows = []
    told = []
    for key, value in table["properties"].items():
        if said and said.get(key) == value:
            told.append(key)
            continue
        if key == "pattern":
            continue
        name = f"`{key}`"
        if key in table.get("required", ()):
            name = f"**{name}**"
        rows.append(f"| {name} | {_kind(value)} | {_cell(value.get('description', ''))} |")
    yield "| key | value | what it is |\n|---|---|---|\n" + "\n".join(rows) + "\n"
    if told:
        yield f"And as for a drawn part: {', '.join(f'`{key}`' for key in told)}.\n"


def _kind(value: dict[str, Any]) -> str:
    """What a value may be, in a maker's words, and the default where it is a plain one."""
    kinds = [_one_kind(each) for each in value.get("anyOf", value.get("oneOf", [value]))]
    text = " or ".join(dict.fromkeys(kinds))
    if "default" in value:
        text += f"; left out: `{json.dumps(value['default'])}`"
    return _cell(text)


def _one_kind(value: dict[str, Any]) -> str:
    if "enum" in value:
        return ", ".join(f'`"{each}"`' for each in value["enum"])
    if "const" in value:
        return f'`"{value["const"]}"`'
    if "$ref" in value:
        return "table"
    kind = value.get("type", "")
    if kind == "array":
        inner = _one_kind(value.get("items", {}))
        count = value.get("minItems")
        return f"{count} values: {inner}" if count and count == value.get("maxItems") else f"list of {inner}"
    return _NUMBERS.get(kind, kind or "value")


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")
