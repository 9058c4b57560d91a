"""``nestkit scales``: the same build at other sizes."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.cli.interrupts import asked_to_stop, held_back
from nestkit.cli.offcuts import ShopFile, pieces_for, shop_file, there
from nestkit.cli.planning_options import (
    BuildFile,
    Cores,
    Offcuts,
    Out,
    Rounds,
    Seconds,
    Seed,
    default_out,
    free_sibling,
)
from nestkit.cli.values import number, whole
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.build.model import Build
    from nestkit.cli.sizes_shown import Shown
    from nestkit.scales.compare import Question
    from nestkit.scales.largest import Goal
    from nestkit.scales.model import Comparison
    from nestkit.stock.pieces import Piece


def scales(
    context: typer.Context,
    build_file: BuildFile,
    first: Annotated[
        float | None, typer.Option("--from", parser=number(), metavar="SCALE", help="Smallest scale.")
    ] = None,
    last: Annotated[
        float | None, typer.Option("--to", parser=number(), metavar="SCALE", help="Largest scale.")
    ] = None,
    steps: Annotated[
        int,
        typer.Option(parser=whole(1), metavar="NUMBER", help="How many sizes from the first to the last."),
    ] = 9,
    lengths: Annotated[
        str | None,
        typer.Option(metavar="L1,L2,...", help="Finished lengths of a part, in place of scales."),
    ] = None,
    of: Annotated[
        str, typer.Option(metavar="PART", help="The part whose length tells the size. Without: the longest.")
    ] = "",
    fit_shop: Annotated[
        bool,
        typer.Option(
            "--fit-shop", help="Find the largest size that the sheets in the shop hold, offcuts too."
        ),
    ] = False,
    budget: Annotated[
        float | None,
        typer.Option(
            parser=number(0.0), metavar="MONEY", help="Find the largest size whose sheets cost no more."
        ),
    ] = None,
    out: Out = None,
    seconds: Seconds = 240.0,
    rounds: Rounds = None,
    seed: Seed = 1,
    cores: Cores = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Plan on this Dask cluster instead.")
    ] = None,
    cache: Annotated[bool, typer.Option("--cache/--no-cache", help="Reuse earlier results.")] = True,
    offcuts: Offcuts = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Compares sizes: sheets, waste and money, where they jump, and the largest size that fits."""
    script = script_output(context, as_json)
    from nestkit.cli.sizes_shown import Shown, show_comparison
    from nestkit.output.folder import COMPARISON, check_out
    from nestkit.planning import Effort
    from nestkit.preparing import read_build
    from nestkit.scales.cache import Cache, user_cache
    from nestkit.scales.compare import Question, compare
    from nestkit.scales.runner import Runner
    from nestkit.scales.source import source_of
    from nestkit.scales.write import comparison_data, write_comparison

    build = read_build(build_file, None)
    chosen = _chosen(build, first, last, steps, lengths, of)
    goals = _goals(fit_shop, budget)
    _need_something(chosen, goals)
    folder = out if out is not None else default_out(build_file, "-sizes")
    check_out(folder, COMPARISON)
    source = source_of(build)
    pieces: tuple[Piece, ...] = ()
    name = ""
    if offcuts or (fit_shop and offcuts is None and shop_file(shop).exists()):
        pieces, name = pieces_for(build, there(shop))
    workers = cores or os.cpu_count() or 1
    shown = Shown(len(chosen))
    with asked_to_stop("what is done so far") as asked, shown, _executor(cluster, workers, shown) as executor:
        count = workers if cluster is None else max(workers, len(chosen))
        question = Question(
            source, chosen, Effort(seconds, rounds, seed), of, count, goals, pieces=pieces, shop=name
        )
        runner = Runner(executor, Cache(user_cache()) if cache else None, asked, shown.heard)
        found = compare(question, build, runner)
    with held_back():
        if found.stopped:
            _keep(found, folder)
        write_comparison(found, _plans(found, question), folder)
    show_comparison(found)
    if runner.kept:
        typer.echo(f"{counted(runner.kept, 'result')} kept from before, {runner.planned} planned now")
    typer.echo(f"wrote {folder}: open {folder / 'scales.html'} first")
    if found.sizes:
        begin = f"--scale SCALE --begin-with {shlex.quote(str(folder))}"
        typer.echo(f"To cut one of these sizes: nestkit plan {shlex.quote(str(build_file))} {begin}")
    if script is not None:
        print_json(script, {"folder": str(folder), **comparison_data(found)})
    if found.missing or any(each.best is None for each in found.largest):
        raise typer.Exit(1)


def _chosen(
    build: Build, first: float | None, last: float | None, steps: int, lengths: str | None, of: str
) -> tuple[float, ...]:
    """The scales that are compared.

    Raises
    ------
    InputError
        When they are asked for in two ways, or in half a way.
    """
    from nestkit.errors import InputError
    from nestkit.scales.sizes import by_length, evenly, no_reference

    if of and build.measured(of) is None:
        raise no_reference(build, of)
    if lengths is not None:
        if first is not None or last is not None:
            raise InputError.one("--lengths", "scales are given too", "Give --from and --to, or this")
        return by_length(build, _numbers(lengths), of)
    if first is None and last is None:
        return ()
    if first is None or last is None:
        missing = "--from" if first is None else "--to"
        raise InputError.one(
            missing, "is missing", "Give the smallest scale with --from, the largest with --to"
        )
    return evenly(first, last, steps)


def _numbers(text: str) -> list[float]:
    from nestkit.errors import InputError

    try:
        return [float(word) for word in text.split(",")]
    except ValueError as error:
        raise InputError.one(
            "--lengths", f"'{text}' is no list of lengths", "Write it as 1100,1200,1300"
        ) from error


def _goals(fit_shop: bool, budget: float | None) -> tuple[Goal, ...]:
    from nestkit.scales.largest import Goal

    goals = [Goal()] if fit_shop else []
    return tuple(goals if budget is None else [*goals, Goal(budget)])


def _need_something(chosen: tuple[float, ...], goals: tuple[Goal, ...]) -> None:
    from nestkit.errors import InputError

    if not chosen and not goals:
        raise InputError.one(
            "scales",
            "no sizes are asked for",
            "Give --from and --to, or --lengths, or ask for --fit-shop or --budget",
        )


@contextmanager
def _executor(address: str | None, workers: int, shown: Shown) -> Iterator[Executor]:
    """Worker processes, or the cluster; whatever still runs at the end is given up."""
    if address is not None:
        from nestkit.scales.cluster import cluster

        with cluster(address) as executor:
            yield executor
        return
    from nestkit.nesting.overlap import prepare
    from nestkit.workers import Workers

    # Compiled once, here, and not in every process at the same time; and from how long the first sizes take
    # it is reckoned how long the others will.
    prepare()
    local = Workers(workers, shown.note)
    try:
        yield local
    finally:
        local.shutdown(wait=True, cancel_futures=True)


def _plans(found: Comparison, question: Question) -> dict[int, dict[str, bytes]]:
    """The files of each largest size's plan, by its place."""
    from nestkit.scales.task import build_at
    from nestkit.scales.write import largest_plan

    plans = {}
    for place, each in enumerate(found.largest):
        if each.best is not None and each.best.laid:
            task = replace(question.task(each.best.scale), shop_only=each.budget is None)
            plans[place] = largest_plan(build_at(task), each.best, question.effort.seed)
    return plans


def _keep(found: Comparison, folder: Path) -> None:
    """Writes what is done beside the folder.

    Raises
    ------
    Interrupted
        Always: it says where that is.
    """
    from nestkit.cli.sizes_shown import show_comparison
    from nestkit.errors import Interrupted
    from nestkit.scales.write import write_comparison

    if not found.sizes and not found.largest:
        raise Interrupted("Stopped before any size was done; nothing was written.")
    kept = free_sibling(folder)
    write_comparison(found, {}, kept)
    show_comparison(found)
    sys.stdout.flush()
    untouched = f"; {folder} is as it was" if folder.exists() else ""
    done = counted(len(found.sizes), "size")
    raise Interrupted(f"Stopped. What is done, {done}, is in {kept}{untouched}.", str(kept))
