"""Reads every SVG and DXF file below some folders and counts how it went.

    python benchmarks/corpus.py DIR... [--json FILE] [--limit SECONDS]

Each file goes through `read_drawing` and `assemble`. A file that takes longer than the limit counts as
crashed, and so does any exception but `DrawingError`; then the exit code is 1.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from nestkit.drawings import assemble, read_drawing
from nestkit.errors import DrawingError

SUFFIXES = (".svg", ".svgz", ".dxf")


class OutOfTime(BaseException):
    """Raised inside the reader; not an Exception, so that no reader takes it for a damaged file."""


@dataclass
class Counts:
    """What came of the files of one suffix."""

    files: int = 0
    read: int = 0
    read_with_findings: int = 0
    refused: int = 0
    crashed: int = 0
    empty: int = 0
    paths: int = 0
    shapes: int = 0
    seconds: float = 0.0


@dataclass
class Tally:
    """Everything that is reported."""

    by_suffix: dict[str, Counts] = field(default_factory=dict)
    findings: Counter[str] = field(default_factory=Counter)
    refusals: Counter[str] = field(default_factory=Counter)
    slowest: list[tuple[float, str]] = field(default_factory=list)
    crashes: list[str] = field(default_factory=list)


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Raises `OutOfTime` in the block after so many seconds."""

    def stop(_signal: int, _frame: object) -> None:
        raise OutOfTime

    signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)


def files_below(folders: list[Path]) -> Iterator[Path]:
    """Drawings in and below the folders, sorted, links left out."""
    for folder in folders:
        for file in sorted(folder.rglob("*")):
            if file.suffix.lower() in SUFFIXES and not file.is_symlink() and file.is_file():
                yield file


def take(file: Path, tally: Tally, limit: float) -> None:
    """Reads one file and counts what came of it."""
    counts = tally.by_suffix.setdefault(file.suffix.lower(), Counts())
    counts.files += 1
    start = time.perf_counter()
    try:
        with time_limit(limit):
            drawing = read_drawing(file)
            assembled = assemble(drawing.paths)
    except DrawingError as error:
        counts.refused += 1
        str(error)
        tally.refusals[error.problems[0].what[:60]] += 1
    except KeyboardInterrupt:
        raise
    except BaseException:
        counts.crashed += 1
        tally.crashes.append(f"{file}\n{traceback.format_exc()}")
    else:
        findings = (*drawing.findings, *assembled.findings)
        tally.findings.update({finding.code for finding in findings})
        counts.read += not findings
        counts.read_with_findings += bool(findings)
        counts.empty += not drawing.paths
        counts.paths += len(drawing.paths)
        counts.shapes += len(assembled.shapes)
    seconds = time.perf_counter() - start
    counts.seconds += seconds
    tally.slowest = sorted([*tally.slowest, (seconds, str(file))], reverse=True)[:5]


def report(tally: Tally) -> str:
    """The counts as a table, then findings, refusals, the slowest and what crashed."""
    columns = ("files", "read", "read_with_findings", "refused", "crashed", "empty", "paths", "shapes")
    lines = ["| suffix | " + " | ".join(name.replace("_", " ") for name in columns) + " | seconds |"]
    lines.append("|---" * (len(columns) + 2) + "|")
    for suffix, counts in sorted(tally.by_suffix.items()):
        cells = [f"{getattr(counts, name):,}" for name in columns]
        lines.append(f"| {suffix} | " + " | ".join(cells) + f" | {counts.seconds:.0f} |")
    lines += ["", "files with a finding: " + _most(tally.findings), "refused: " + _most(tally.refusals)]
    lines += ["slowest:", *(f"  {seconds:6.2f} s  {file}" for seconds, file in tally.slowest)]
    lines += [f"\nCRASHED {crash}" for crash in tally.crashes[:5]]
    return "\n".join(lines)


def _most(counter: Counter[str]) -> str:
    return ", ".join(f"{name} {count:,}" for name, count in counter.most_common(20)) or "none"


def _plain(tally: Tally) -> dict[str, object]:
    plain = vars(tally) | {"by_suffix": {suffix: vars(counts) for suffix, counts in tally.by_suffix.items()}}
    return plain | {"findings": dict(tally.findings), "refusals": dict(tally.refusals)}


def main() -> int:
    """Runs over the folders named on the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path, metavar="DIR")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the counts to this file, too")
    parser.add_argument("--limit", type=float, default=20.0, metavar="SECONDS", help="for each file (20)")
    asked = parser.parse_args()
    tally = Tally()
    for number, file in enumerate(files_below(asked.folders), start=1):
        take(file, tally, asked.limit)
        if number % 5000 == 0:
            print(f"{number} files", file=sys.stderr, flush=True)
    print(report(tally))
    if asked.json:
        asked.json.write_text(json.dumps(_plain(tally), indent=1) + "\n", encoding="utf-8")
    return 1 if tally.crashes else 0


if __name__ == "__main__":
    sys.exit(main())
