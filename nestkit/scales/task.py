"""One size, or one group of it, as work that can be sent to another process or another machine."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from nestkit.build import load_build
from nestkit.build.model import Build
from nestkit.errors import InputError
from nestkit.nesting.carried import LaidSheet
from nestkit.nesting.master import Worth
from nestkit.planning import Effort, JobDetail, Progress, make_plan
from nestkit.preparing import read_build
from nestkit.scales.figures import size_result
from nestkit.scales.model import Answer, GroupKey, NoResult
from nestkit.scales.source import BuildSource, file_of
from nestkit.stock.pieces import Piece
from nestkit.stock.shop_sheets import with_pieces
from nestkit.telling import tell
from nestkit.units import show_length
from nestkit.words import counted

#: Seconds between two notes about one size.
_PAUSE = 0.2


@dataclass(frozen=True, slots=True)
class SizeTask:
    """What is asked of a worker.

    Parameters
    ----------
    source : BuildSource
    scale : float
    effort : Effort
    reference : str
        The part by which the size is told.
    only : GroupKey, optional
        Plan this group alone.
    shop_only : bool
        Buy nothing: only what is in the shop may be used.
    start : tuple of LaidSheet
        Plan of another size to begin with.
    otherwise : tuple of LaidSheet
        One that takes its place where it can't be made sound.
    content : Worth, optional
        A plan as good as this is good enough.
    take_start : bool
        Whether ``start`` is good enough where it can be made sound.
    proofs : bool
        Whether it is asked what is proven of the plan.
    jobs : "rough" or "none"
        Whether cutting times and findings are asked for.
    pieces : tuple of Piece
        What lies in the shop and may be used up.
    shop : str
        The id of the shop that they lie in.
    """

    source: BuildSource
    scale: float
    effort: Effort
    reference: str = ""
    only: GroupKey | None = None
    shop_only: bool = False
    start: tuple[LaidSheet, ...] = ()
    otherwise: tuple[LaidSheet, ...] = ()
    content: Worth | None = None
    take_start: bool = False
    proofs: bool = True
    jobs: JobDetail = "rough"
    pieces: tuple[Piece, ...] = ()
    shop: str = ""


def plan_size(task: SizeTask) -> Answer:
    """Plans one size; a size that the build can't be made at is an answer too."""
    try:
        build = build_at(task)
    except InputError as error:
        return NoResult(task.scale, "; ".join(_why(error)), lost=False)
    said = 0.0

    def progress(at: Progress) -> None:
        nonlocal said
        if time.monotonic() - said < _PAUSE:
            return
        said = time.monotonic()
        doing = at.note or f"round {at.rounds}, {counted(at.sheets, 'sheet')}"
        tell(f"{at.material} {show_length(at.thickness, build.unit)}: {doing}")

    planned = make_plan(
        build,
        task.effort,
        progress=progress,
        only=None if task.only is None else {task.only},
        start=task.start,
        otherwise=task.otherwise,
        jobs=task.jobs,
        content=task.content,
        take_start=task.take_start,
        proofs=task.proofs,
    )
    return size_result(build, planned, task.reference, for_a_try=task.jobs == "none")


def build_at(task: SizeTask) -> Build:
    """The task's build at its size.

    Raises
    ------
    InputError
        When it can't be made at that size.
    """
    if task.jobs == "none":
        # What can't be cut safely, and folds that can't be made, were looked at for the sizes on either side.
        build = load_build(file_of(task.source), task.scale)
    else:
        build = read_build(file_of(task.source), task.scale)
    build = with_pieces(build, task.pieces, task.shop)
    if task.shop_only:
        build = replace(build, sheets=tuple(replace(sheet, buy=False) for sheet in build.sheets))
    return build


def _why(error: InputError) -> list[str]:
    return [f"{problem.where}: {problem.what}" for problem in error.problems[:3]]
