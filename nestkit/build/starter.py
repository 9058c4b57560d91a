"""The files that `nestkit new` writes: a commented build file, a small drawing, the schema for editors."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

from nestkit.errors import InputError, OutputError

_FILES = ("build.toml", "lantern.svg")
_SCHEMA = "build.schema.json"


def write_starter(folder: Path) -> list[Path]:
    """Writes a build file to start from, with its drawing and its schema.

    Parameters
    ----------
    folder : pathlib.Path
        Made when it is not there yet.

    Returns
    -------
    list of pathlib.Path
        The files written, the build file first.

    Raises
    ------
    InputError
        When one of the files is there already, or a file stands where the folder should be. Nothing
        is written then.
    OutputError
        When the disk refuses. What was written until then is taken away again.
    """
    folder = Path(folder)
    source = resources.files("nestkit.build")
    texts = {name: (source / "starter" / name).read_bytes() for name in _FILES}
    texts[_SCHEMA] = (source / _SCHEMA).read_bytes()
    made: list[Path] = []
    written: list[Path] = []
    try:
        if os.path.lexists(folder) and not folder.is_dir():
            raise InputError.one(str(folder), "is a file, and a folder is needed", "Choose another name")
        for name in texts:
            if os.path.lexists(folder / name):
                raise _taken(folder / name)
        made = [path for path in (folder, *folder.parents) if not path.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            # "x" refuses a name that somebody took in the meantime.
            with (folder / name).open("xb") as stream:
                written.append(folder / name)
                stream.write(text)
    except BaseException as error:
        for path in written:
            path.unlink(missing_ok=True)
        for path in made:
            if path.is_dir() and not any(path.iterdir()):
                path.rmdir()
        if isinstance(error, FileExistsError):
            raise _taken(Path(error.filename)) from error
        if isinstance(error, OSError):
            what = f"can't be written to: {error.strerror or error}"
            raise OutputError.one(str(folder), what, "Name another folder") from error
        if isinstance(error, ValueError) and not isinstance(error, InputError):
            raise InputError.one(
                repr(str(folder)), "is no name for a folder", "Choose another one"
            ) from error
        raise
    return written


def _taken(path: Path) -> InputError:
    return InputError.one(str(path), "is there already, and nothing is overwritten", "Choose another folder")
