"""Putting a set of files into a folder, all of them or none.

The files are written into a new folder beside the old one; then the two change places. Files that the
maker put into the old folder come along. Nothing that nestkit did not write is ever deleted.
"""

from __future__ import annotations

import errno
import filecmp
import json
import os
import re
import secrets
import shutil
import stat
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from nestkit.errors import OutputError
from nestkit.output.plan_json import FORMAT

#: The file by which an earlier output is known.
PLAN_FILE = "plan.json"
TEMPLATES_FILE = "templates.pdf"

# What any version writes beside the job files; a name that is missing here would count as the maker's.
_OURS = frozenset(
    {
        PLAN_FILE,
        TEMPLATES_FILE,
        "report.html",
        "shopping.csv",
        "cutting.csv",
        "jobs.csv",
        "layers.csv",
        "folds.csv",
        "gluing.csv",
        "blanks.csv",
        "blanks.svg",
    }
)


#: Seconds after which a folder beside the output belongs to a run that was killed, not to one at work.
_LEFT_AFTER = 3600.0


@dataclass(frozen=True)
class Kind:
    """A kind of output folder.

    Parameters
    ----------
    what : str
        What it holds.
    marker, format : str
        The JSON file by which it is known again, and what that says under ``format``.
    ours : callable
        From the marker file's data to the names of all files that nestkit wrote.
    """

    what: str
    marker: str
    format: str
    ours: Callable[[dict[str, Any]], set[str]]


def check_out(out: Path, kind: Kind | None = None) -> None:
    """See that `replace_folder` may write to ``out``, before the work that fills it; a plan unless said.

    Raises
    ------
    OutputError
        When the folder is somebody else's, or there is no permission to write beside it.
    """
    kind = kind or PLAN
    with _told(out, kind):
        out = _real(out)
        _survey(out, {}, kind)
        above = out.parent
        while not above.exists():
            above = above.parent
        if not above.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
        if not os.access(above, os.W_OK | os.X_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


def earlier_build(out: Path) -> str | None:
    """Name of the build whose plan ``out`` holds; None when it holds none."""
    plan = _earlier(out, PLAN)
    return None if plan is None else str(plan.get("build", ""))


def replace_folder(out: Path, files: Mapping[str, bytes], kind: Kind | None = None) -> None:
    """Make ``out`` a folder that holds ``files`` and whatever the maker had added to an earlier output.

    Parameters
    ----------
    out : pathlib.Path
        May be missing, empty, or hold an earlier output.
    files : mapping of str to bytes
        By their place in the folder, with forward slashes.
    kind : Kind, optional
        What is written; a plan when left out. A folder of another kind is not replaced.

    Raises
    ------
    OutputError
        When the folder is somebody else's, or cannot be written. The folder is then as it was, and so
        it is after any other exception.
    """
    kind = kind or PLAN
    with _told(out, kind):
        out = _real(out)
        _recover(out, kind)
        _replace(out, files, _survey(out, files, kind))
        with suppress(OSError):
            _tidy(out, kind)


@dataclass(frozen=True, slots=True)
class _Survey:
    """What an output folder holds, relative to it: everything, and that part of it which is the maker's."""

    seen: tuple[Path, ...] = ()
    kept: tuple[Path, ...] = ()


def _real(out: Path) -> Path:
    # Path.resolve raises RuntimeError at a loop of links, which the next step tells as an OSError.
    return Path(os.path.realpath(out))


def _replace(out: Path, files: Mapping[str, bytes], before: _Survey) -> None:
    token = secrets.token_hex(4)
    staged, aside = out.parent / f".{out.name}.new-{token}", out.parent / f".{out.name}.old-{token}"
    made = _make_parents(out.parent)
    try:
        staged.mkdir()
        for name, content in files.items():
            target = staged / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        for path in before.kept:
            _bring_along(out / path, staged / path)
        if out.exists():
            with suppress(PermissionError):  # some network drives keep no modes
                shutil.copymode(out, staged)
            out.rename(aside)
        staged.rename(out)
    except BaseException:
        if aside.exists():
            if out.exists():
                out.rename(staged)
            aside.rename(out)
        shutil.rmtree(staged, ignore_errors=True)
        _remove_empty(made)
        raise
    # What the maker added is in the new folder by now, so the old one can go. Only what was seen goes:
    # a file put there a moment ago stays, and a hidden leftover is no reason to call the output failed.
    with suppress(OSError):
        _remove(aside, before.seen)


def _remove(folder: Path, seen: Iterable[Path]) -> None:
    folders = {folder}
    for path in (folder / each for each in seen):
        if path.is_dir() and not path.is_symlink():
            folders.add(path)
        else:
            path.unlink(missing_ok=True)
        folders.update(parent for parent in path.parents if folder in parent.parents)
    _remove_empty(sorted(folders, key=lambda each: len(each.parts), reverse=True))


def _make_parents(folder: Path) -> list[Path]:
    """Make ``folder`` and what is missing above it; those that were made, innermost first."""
    missing: list[Path] = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    made: list[Path] = []
    try:
        for each in reversed(missing):
            each.mkdir()
            made.insert(0, each)
    except BaseException:
        _remove_empty(made)
        raise
    return made


def _remove_empty(folders: Iterable[Path]) -> None:
    """Remove those of the folders that are empty, in the order given."""
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()


def _recover(out: Path, kind: Kind) -> None:
    """Put back an earlier output that a crash between the two renames left under its other name."""
    if out.exists() or not out.parent.is_dir():
        return
    old = [p for p in out.parent.iterdir() if p.name.startswith(f".{out.name}.old-") and _earlier(p, kind)]
    if len(old) == 1:
        old[0].rename(out)


def _tidy(out: Path, kind: Kind) -> None:
    """Take away what runs that were killed while they wrote have left beside ``out``.

    Of a folder that was being filled everything goes: what the maker had added is there a second time. Of
    an old output that was about to go, what nestkit wrote and what ``out`` holds too.
    """
    for left in sorted(out.parent.iterdir()):
        name = re.fullmatch(rf"\.{re.escape(out.name)}\.(new|old)-[0-9a-f]{{8}}", left.name)
        if name is None or left.is_symlink() or time.time() - left.stat().st_mtime < _LEFT_AFTER:
            continue
        if name[1] == "new":
            shutil.rmtree(left)
            continue
        ours = kind.ours(_earlier(left, kind) or {})
        _remove(left, [path for path in _walk(left) if path.as_posix() in ours or _same(left, out, path)])


def _same(left: Path, out: Path, path: Path) -> bool:
    """Whether two folders hold the same file."""
    one, other = left / path, out / path
    return one.is_file() and other.is_file() and filecmp.cmp(one, other, shallow=False)


def _survey(out: Path, files: Mapping[str, bytes], kind: Kind) -> _Survey:
    """What ``out`` holds before ``files`` are written to it.

    Raises
    ------
    OutputError
        When ``out`` is not for nestkit to replace.
    """
    if not out.exists():
        return _Survey()
    elsewhere = "Choose another folder with --out"
    if not out.is_dir():
        raise OutputError.one(str(out), "is a file, not a folder", elsewhere)
    here = Path.cwd()
    if out == here or out in here.parents:
        # It is going to be another folder of the same name; a terminal in it would be left in the old one.
        what = "is the folder that you are working in"
        raise OutputError.one(str(out), what, f"{elsewhere}, one inside it")
    if not any(out.iterdir()):
        return _Survey()
    earlier = _earlier(out, kind)
    if earlier is None:
        what = f"holds files, but no earlier {kind.what} that nestkit wrote"
        raise OutputError.one(str(out), what, f"{elsewhere}, or empty this one")
    ours = kind.ours(earlier)
    seen = tuple(_walk(out))
    kept = tuple(path for path in seen if path.as_posix() not in ours)
    for path in kept:
        mode = (out / path).lstat().st_mode
        if not (stat.S_ISREG(mode) or stat.S_ISLNK(mode) or stat.S_ISDIR(mode)):
            todo = f"Move it away, or {_lower(elsewhere)}"
            raise OutputError.one(str(out / path), "is neither a file nor a folder", todo)
    new = {out / name for name in files}
    needed = {folder for path in new for folder in path.parents}
    clash = [
        path
        for path in (out / each for each in kept)
        if path in new or new.intersection(path.parents) or (path in needed and not path.is_dir())
    ]
    if clash:
        what = "was not written by nestkit and would be overwritten"
        raise OutputError.one(str(clash[0]), what, f"Rename it, or {_lower(elsewhere)}")
    return _Survey(seen, kept)


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]


def _earlier(folder: Path, kind: Kind) -> dict[str, Any] | None:
    """What the marker file of this kind says that nestkit wrote into ``folder``, or None."""
    try:
        data = json.loads((folder / kind.marker).read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) and data.get("format") == kind.format else None


def _listed_files(data: dict[str, Any]) -> set[str]:
    """The files that a comparison says it consists of."""
    names = data.get("files")
    return {name for name in names if isinstance(name, str)} if isinstance(names, list) else set()


def _job_files(plan: dict[str, Any]) -> set[str]:
    """The cutter files that a plan speaks of."""
    sheets = plan.get("sheets")
    jobs = (
        [sheet.get("job") for sheet in sheets if isinstance(sheet, dict)] if isinstance(sheets, list) else []
    )
    stems = {job.removesuffix(".dxf") for job in jobs if isinstance(job, str) and job.endswith(".dxf")}
    return {f"{stem}{ending}" for stem in stems for ending in (".dxf", ".svg")}


def _walk(folder: Path) -> Iterator[Path]:
    """All files, links and empty folders below ``folder``, relative to it, sorted."""
    for root, folders, names in os.walk(folder, onerror=_raise):
        here = Path(root)
        linked = [name for name in folders if (here / name).is_symlink()]
        folders[:] = sorted(name for name in folders if name not in linked)
        for name in sorted([*names, *linked]):
            yield (here / name).relative_to(folder)
        if not folders and not names and not linked and here != folder:
            yield here.relative_to(folder)


def _raise(error: OSError) -> None:
    raise error


def _bring_along(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    if source.is_dir() and not source.is_symlink():
        target.mkdir(exist_ok=True)
        return
    try:
        # A second name for the same file costs no space and keeps it exactly as it is.
        os.link(source, target, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(source, target, follow_symlinks=False)


@contextmanager
def _told(out: Path, kind: Kind) -> Iterator[None]:
    """Turns what the system says into a message to the maker."""
    try:
        yield
    except OutputError:
        raise
    except OSError as error:
        todo = "Choose another folder with --out. Nothing there was changed"
        if error.errno in _DISK_FULL:
            todo = f"Make room, or {_lower(todo)}"
        what = f"the {kind.what} can't be written: {_reason(error)}"
        raise OutputError.one(str(out), what, todo) from error


_DISK_FULL = (errno.ENOSPC, errno.EDQUOT)


def _reason(error: OSError) -> str:
    if error.errno in _DISK_FULL:
        return "the disk is full"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return "no permission to write there"
    if error.errno in (errno.ENOTDIR, errno.EEXIST):
        return "a file stands where a folder is needed"
    return error.strerror or str(error)


#: What ``nestkit plan`` and ``nestkit scales`` write.
PLAN = Kind("plan", PLAN_FILE, FORMAT, lambda plan: set(_OURS) | _job_files(plan))
COMPARISON = Kind("comparison", "scales.json", "nestkit-scales", _listed_files)
