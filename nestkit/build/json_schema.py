"""The JSON Schema of the build file, for editors.

``python -m nestkit.build.json_schema`` writes it, and the handbook's page of keys, anew after a change of
`tables`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from nestkit.build.tables import BuildFile

#: The schema that `nestkit new` puts beside a build file.
SCHEMA_FILE = Path(__file__).with_name("build.schema.json")


def build_file_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a build file, with a description of every key."""
    schema = _tidied(BuildFile.model_json_schema(by_alias=True))
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "nestkit build file",
    }


def build_file_schema_text() -> str:
    """The schema as it is committed."""
    return json.dumps(build_file_schema(), indent=2, ensure_ascii=True) + "\n"


def _tidied(value: Any) -> Any:
    """Without null, for which TOML has no word, and without titles and empty defaults, which are noise."""
    if isinstance(value, list):
        return [_tidied(item) for item in value]
    if not isinstance(value, dict):
        return value
    tidy = {
        key: {name: _tidied(item) for name, item in inner.items()} if key == "properties" else _tidied(inner)
        for key, inner in value.items()
        if not (key == "title" and isinstance(inner, str))
        and not (key == "default" and (inner is None or isinstance(inner, dict | list)))
    }
    choices = [item for item in tidy.get("anyOf", ()) if item != {"type": "null"}]
    if len(choices) > 1:
        tidy["anyOf"] = choices
    if len(choices) == 1 and len(tidy["anyOf"]) == 2:
        del tidy["anyOf"]
        tidy = choices[0] | tidy
    return tidy


def main() -> None:
    """Writes the schema file and the handbook's page of keys."""
    from nestkit.build.key_list import KEYS_PAGE, key_list_text

    KEYS_PAGE.write_text(key_list_text(), encoding="utf-8", newline="\n")
    SCHEMA_FILE.write_text(build_file_schema_text(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
