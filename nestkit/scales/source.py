"""A build file and its drawings as they were when the comparison began, for workers here and elsewhere."""

from __future__ import annotations

import hashlib
import os
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from nestkit.build.model import Build
from nestkit.errors import InputError


@dataclass(frozen=True, slots=True)
class BuildSource:
    """The files of a build.

    Parameters
    ----------
    build_file : str
        Place of the build file, with forward slashes.
    files : tuple of (str, bytes)
        Every file by its place under the folder that holds all of them.
    """

    build_file: str
    files: tuple[tuple[str, bytes], ...]

    @property
    def digest(self) -> str:
        """Changes whenever a name or a byte does."""
        return _digest(self)


def source_of(build: Build) -> BuildSource:
    """Reads the build file and the drawings that it uses.

    Raises
    ------
    InputError
        When one of them can't be read any more.
    """
    paths = [Path(os.path.abspath(path)) for path in (build.file, *build.drawings)]
    above = Path(os.path.commonpath([path.parent for path in paths]))
    files = []
    for path in dict.fromkeys(paths):
        try:
            files.append((path.relative_to(above).as_posix(), path.read_bytes()))
        except OSError as error:
            what = f"can't be read: {error.strerror or error}"
            raise InputError.one(path.name, what, "See that you may read it") from error
    return BuildSource(files[0][0], tuple(files))


def file_of(source: BuildSource) -> Path:
    """The build file in a folder that holds a copy of all files; it is made once in each process."""
    return _unpacked(source)


@lru_cache(maxsize=64)
def _digest(source: BuildSource) -> str:
    found = hashlib.sha256(source.build_file.encode())
    for name, content in sorted(source.files):
        found.update(f"\0{name}\0{len(content)}\0".encode())
        found.update(content)
    return found.hexdigest()


#: Kept until the process ends, which removes them.
_folders: list[tempfile.TemporaryDirectory[str]] = []


@lru_cache(maxsize=8)
def _unpacked(source: BuildSource) -> Path:
    folder = tempfile.TemporaryDirectory(prefix="nestkit-")
    _folders.append(folder)
    for name, content in source.files:
        target = Path(folder.name) / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return Path(folder.name) / source.build_file
