"""Results kept by content: the same question about the same files is answered without planning again.

What is kept is JSON in the user's cache folder, one file for each answer, checked when it is read. A file
that is damaged, or of another version of nestkit, counts as missing.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from contextlib import suppress
from functools import cache as once
from pathlib import Path
from typing import Any

import nestkit
from nestkit.scales.model import SizeResult
from nestkit.scales.task import SizeTask
from nestkit.stock.pieces import outline_text

FORMAT = "nestkit-size"
#: So many answers are kept; the ones that were longest not used go first.
MOST = 5000
#: A search that was at least this share as long counts as long enough.
LONG_ENOUGH = 0.95


def user_cache() -> Path:
    """Where results are kept, as the system wants it."""
    from platformdirs import user_cache_path

    return user_cache_path("nestkit", appauthor=False) / "sizes"


@once
def engine_digest() -> str:
    """Changes with every change to the program, since any of it may change a plan."""
    found = hashlib.sha256(nestkit.__version__.encode())
    package = Path(nestkit.__file__).parent
    for file in sorted(package.rglob("*.py")):
        found.update(f"\0{file.relative_to(package).as_posix()}\0".encode())
        found.update(file.read_bytes())
    return found.hexdigest()


def task_digest(task: SizeTask) -> str:
    """Names an answer: by all that it follows from, but how many seconds are spent on it."""
    asked = [
        FORMAT,
        engine_digest(),
        task.source.digest,
        repr(task.scale),
        task.effort.rounds,
        task.effort.seed,
        task.reference,
        task.only,
        task.shop_only,
        repr((task.start, task.otherwise)),
        repr((task.content, task.take_start, task.proofs, task.jobs)),
        task.shop,
        [
            (piece.number, piece.whole, piece.material, repr(piece.thickness), outline_text(piece.outline))
            for piece in task.pieces
        ],
    ]
    return hashlib.sha256(json.dumps(asked).encode()).hexdigest()


class Cache:
    """Answers in a folder; what can't be read or written is as if it weren't there."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._written = 0

    def get(self, task: SizeTask) -> tuple[SizeResult, float] | None:
        """The answer and its moment, when there is one that was searched for as long as is asked for now.

        The moment tells how long after the beginning of the comparison the answer was there then, seconds.
        """
        file = self._file(task)
        try:
            data = json.loads(file.read_bytes())
            if data["format"] != FORMAT:
                return None
            if task.effort.rounds is None and float(data["seconds"]) < LONG_ENOUGH * task.effort.seconds:
                return None
            moment = float(data["moment"])
            result: SizeResult = _reader().validate_python(data["result"])
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None
        if result.scale != task.scale:
            return None
        with suppress(OSError):
            os.utime(file)
        return result, moment

    def put(self, task: SizeTask, result: SizeResult, moment: float) -> None:
        """Keeps an answer that was there at a moment; see `get`."""
        data = {
            "format": FORMAT,
            "seconds": task.effort.seconds,
            "moment": moment,
            "result": _reader().dump_python(result),
        }
        file = self._file(task)
        staged = file.with_name(f".{file.name}-{secrets.token_hex(4)}")
        with suppress(OSError):
            file.parent.mkdir(parents=True, exist_ok=True)
            staged.write_text(json.dumps(data, separators=(",", ":")), encoding="utf-8")
            os.replace(staged, file)
        with suppress(OSError):
            staged.unlink(missing_ok=True)
        self._written += 1
        if self._written % 100 == 1:
            self._prune()

    def _file(self, task: SizeTask) -> Path:
        name = task_digest(task)
        return self._folder / name[:2] / f"{name[2:]}.json"

    def _prune(self) -> None:
        with suppress(OSError):
            files = sorted(self._folder.glob("*/*.json"), key=lambda file: file.stat().st_mtime)
            for file in files[: max(len(files) - MOST, 0)]:
                file.unlink(missing_ok=True)


@once
def _reader() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(SizeResult)
