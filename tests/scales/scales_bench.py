"""Small builds whose sizes are compared, and what runs them."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path

from nestkit.planning import Effort
from nestkit.preparing import read_build
from nestkit.scales.compare import Question, compare
from nestkit.scales.largest import Goal
from nestkit.scales.model import Comparison
from nestkit.scales.runner import Runner
from nestkit.scales.source import source_of

HEAD = """[build]
name = "Harbour puzzle"

[layout]
gap = 0
margin = 0

[cutter]
kind = "hand"

"""

#: x, y, width and height of rectangles that fill 300 x 200 mm.
JIGSAW = ((0, 0, 120, 90), (120, 0, 180, 50), (120, 50, 180, 40), (0, 90, 70, 110), (70, 90, 230, 110))


def write_build(folder: Path, rectangles: Sequence[tuple[float, ...]], sheets: str, more: str = "") -> Path:
    """A build of rectangles, each a part ``p1``, ``p2``, ... that may be turned by a quarter."""
    drawn = "".join(
        f'<rect id="p{k}" x="{x}" y="{y}" width="{w}" height="{h}" fill="none" stroke="#000000"/>\n'
        for k, (x, y, w, h) in enumerate(rectangles, start=1)
    )
    (folder / "puzzle.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="900mm" viewBox="0 0 900 900">\n'
        f"{drawn}</svg>\n"
    )
    parts = "".join(
        f'[[part]]\nname = "p{k}"\nfrom = "puzzle.svg#p{k}"\nthickness = 6\nturns = "quarter"\n\n'
        for k in range(1, len(rectangles) + 1)
    )
    file = folder / "build.toml"
    file.write_text(HEAD + sheets + "\n" + parts + more)
    return file


def sheet(width: float, height: float, price: float = 1.0, more: str = "") -> str:
    """A table of a 6 mm sheet."""
    return f"[[sheet]]\nthickness = 6\nsize = [{width}, {height}]\nprice = {price}\n{more}\n"


def compared(
    file: Path,
    scales: Sequence[float],
    rounds: int = 40,
    executor: Executor | None = None,
    goals: Sequence[Goal] = (),
    reference: str = "",
    cliffs: bool = True,
    **more,
) -> Comparison:
    """The comparison of a build's sizes, in this process unless an executor is given."""
    build = read_build(file, None)
    effort = Effort(seconds=60.0, rounds=rounds)
    question = Question(source_of(build), tuple(scales), effort, reference, 2, tuple(goals), cliffs)
    with ThreadPoolExecutor(1) as local:
        return compare(question, build, Runner(executor or local, **more))
