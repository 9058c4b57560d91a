"""The JSON Schema of the build file: in step, complete, and of one mind with the reader."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest

from nestkit.build.json_schema import SCHEMA_FILE, build_file_schema, build_file_schema_text
from nestkit.build.key_list import KEYS_PAGE, key_list_text
from tests.build_bench import BUILD


def test_the_committed_schema_is_in_step() -> None:
    text = SCHEMA_FILE.read_text(encoding="utf-8")
    assert text == build_file_schema_text(), "run python -m nestkit.build.json_schema"


def _keys(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for table in (schema, *schema["$defs"].values()):
        yield from table.get("properties", {}).items()


def test_every_key_is_described_and_none_is_null() -> None:
    schema = build_file_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for key, value in _keys(schema):
        target = schema["$defs"][value["$ref"].rpartition("/")[2]] if "$ref" in value else {}
        assert value.get("description") or target.get("description"), key
    assert "null" not in json.dumps(schema)


@pytest.mark.parametrize(
    ("old", "new", "good"),
    [
        ("", "", True),
        ("quantity = 2", "turns = [0, 45.5]", True),
        ("quantity = 2", "turns = 'quarter'", True),
        ("[build]", "[build]\nfinished = {part = 'sail', length = 3}", True),
        ("[build]", "[build]\nscale = 1\nfinished = {part = 'sail', length = 3}", False),
        ("quantity = 2", "quantitiy = 2", False),
        ("quantity = 2", "quantity = 0", False),
        ("quantity = 2", "turns = []", False),
        ('"plate"', '"a/b"', False),
        ('"plate"', '" plate"', False),
        ("[600, 400]", "[600]", False),
        ('"mark"', '"etch"', False),
        ('name = "plate"', "", False),
    ],
)
def test_editors_see_the_same_mistakes(old: str, new: str, good: bool) -> None:
    data = tomllib.loads(BUILD.replace(old, new) if old else BUILD)
    assert jsonschema.Draft202012Validator(build_file_schema()).is_valid(data) is good


def test_the_handbook_names_every_key() -> None:
    page = KEYS_PAGE.read_text(encoding="utf-8")
    assert page == key_list_text(), "run python -m nestkit.build.json_schema"
    sections = dict(zip(*[iter(re.split(r"^## (.+)$", page, flags=re.M)[1:])] * 2, strict=True))
    for name, table in build_file_schema()["$defs"].items():
        described = [text for text in sections.values() if table["description"] in text]
        assert len(described) == 1, name
        missing = [key for key in table["properties"] if f"`{key}`" not in described[0]]
        assert set(missing) <= {"pattern"}, name
