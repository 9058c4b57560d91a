"""The main job for programs of your own: what ``from nestkit import ...`` hands on.

The command line does the same by the same ways, with words around it.
"""

from __future__ import annotations

from collections.abc import Callable
from os import PathLike
from pathlib import Path

from nestkit.build.model import Build
from nestkit.checking import Verdict, check_folder
from nestkit.errors import InputError
from nestkit.output.write import Written, write_plan
from nestkit.planning import Effort, Planned, Progress, make_plan
from nestkit.preparing import read_build

__all__ = ["check", "load_build", "plan", "write"]


def load_build(file: str | PathLike[str], scale: float | None = None) -> Build:
    """Reads a build file and its drawings.

    Parameters
    ----------
    file : path
        The build file.
    scale : float, optional
        The factor from drawing to finished size, in place of what the file says.

    Returns
    -------
    Build
        Lengths in mm, angles in radians. What was noticed is in its `findings` and in those of its parts.

    Raises
    ------
    InputError
        With everything that is wrong, a material that must not be cut included.
    """
    return read_build(Path(file), scale)


def plan(
    build: Build,
    *,
    seconds: float = 30.0,
    rounds: int | None = None,
    seed: int = 1,
    asked_to_stop: Callable[[], bool] = lambda: False,
    progress: Callable[[Progress], None] | None = None,
) -> Planned:
    """Lays the build's parts out on sheets and puts the cuts in order.

    Parameters
    ----------
    build : Build
        From `load_build`.
    seconds : float, s
        How long to search, in all; it ends earlier when nothing better is possible.
    rounds : int, optional
        Search this many rounds for each foam instead: then the same build gives the same files everywhere.
    seed : int
        Start of the search's chance.
    asked_to_stop : callable
        Asked now and then; once it says True, the best plan so far is returned.
    progress : callable, optional
        Told how far the search is.

    Returns
    -------
    Planned
        The plan, lengths in mm, and a job for each bed load. Copies that fit nowhere are in `plan.unplaced`.

    Raises
    ------
    InputError
        When `seconds` or `seed` is below 0, or `rounds` below 1.
    """
    for name, value, least in (("seconds", seconds, 0), ("rounds", rounds, 1), ("seed", seed, 0)):
        if value is not None and not value >= least:
            raise InputError.one("plan", f"{name} is {value}", f"Give {least} or more")
    effort = Effort(seconds, rounds, seed)
    return make_plan(build, effort, asked_to_stop=asked_to_stop, progress=progress)


def write(build: Build, planned: Planned, folder: str | PathLike[str]) -> Written:
    """Writes a plan's cutter files, lists, templates and report into a folder, all of it or nothing.

    Parameters
    ----------
    build : Build
    planned : Planned
        What `plan` made of that build.
    folder : path
        Missing, empty, or an earlier plan, which is replaced.

    Returns
    -------
    Written
        The files, ``plan.json`` first.

    Raises
    ------
    InputError
        When no part is on any sheet, so that there is nothing to cut.
    OutputError
        When the folder holds something else or cannot be written; then it is as it was before.
    """
    if not planned.plan.sheets:
        raise InputError.one(
            str(build.file), "no part fits any sheet", "List larger sheets, or plan at a smaller scale"
        )
    return write_plan(build, planned.plan, planned.jobs, Path(folder))


def check(folder: str | PathLike[str]) -> Verdict:
    """Reads back what was written, and judges it against its own ``plan.json``.

    Parameters
    ----------
    folder : path
        Where `write` or ``nestkit plan`` put a plan.

    Returns
    -------
    Verdict
        `ok` when nothing is wrong and nothing is left out; else its `faults`, each with a stable code.

    Raises
    ------
    InputError
        When there is no plan, or none that can be read.
    """
    return check_folder(Path(folder))
