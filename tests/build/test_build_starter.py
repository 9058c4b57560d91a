"""What `nestkit new` writes: it loads without a word, and never lands half or on top of something."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from nestkit.build import load_build, write_starter
from nestkit.errors import InputError, OutputError
from nestkit.geometry import LineKind

NAMES = ["build.toml", "lantern.svg", "build.schema.json"]


def listing(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_starter_loads_without_findings(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "lantern"
    files = write_starter(folder)
    assert files == [folder / name for name in NAMES]
    assert listing(folder) == sorted(NAMES)
    build = load_build(files[0])
    assert build.findings == ()
    assert [(p.name, p.copies, len(p.shape.outline.holes), p.findings) for p in build.parts] == [
        ("bracket", 2, 2, ()),
        ("collar", 4, 1, ()),
    ]
    assert [line.kind for line in build.parts[0].shape.lines] == [LineKind.MARK]


def test_the_starter_conforms_to_the_schema_it_names(tmp_path: Path) -> None:
    build, _, schema = write_starter(tmp_path)
    assert build.read_text().startswith(f"#:schema ./{schema.name}\n")
    jsonschema.Draft202012Validator(json.loads(schema.read_text())).validate(tomllib.loads(build.read_text()))


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_overwritten(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(InputError, match="is there already"):
        write_starter(tmp_path)
    assert listing(tmp_path) == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_a_file_or_a_dead_link_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    for name in ("file", "link"):
        with pytest.raises(InputError, match="a folder is needed"):
            write_starter(tmp_path / name)
    with pytest.raises((InputError, OutputError)):
        write_starter(tmp_path / "file" / "inside")
    with pytest.raises(InputError, match="is no name for a folder"):
        write_starter(tmp_path / "a\0b")
    assert listing(tmp_path) == ["file", "link"]


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_nothing_is_left_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    original = Path.open
    folder = tmp_path / "new" / "lantern"

    def failing(path: Path, mode: str = "r", *rest: object, **named: object) -> object:
        if path == folder / NAMES[1]:
            raise error
        return original(path, mode, *rest, **named)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", failing)
    with pytest.raises(OutputError if isinstance(error, OSError) else KeyboardInterrupt):
        write_starter(folder)
    assert listing(tmp_path) == []
