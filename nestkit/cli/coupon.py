"""``nestkit coupon``: test pieces for the cutter."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from nestkit.cli.interrupts import held_back
from nestkit.cli.planning_options import BuildFile, default_out
from nestkit.words import counted


def coupon(
    build_file: BuildFile,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="New folder for the files. Without it: out/ and NAME-coupon."),
    ] = None,
) -> None:
    """Writes a test piece for each foam of the build, and a table for what you measure on it."""
    from nestkit.checking import check_coupon
    from nestkit.cutting.coupon import coupon_jobs
    from nestkit.output.coupon import READINGS_FILE, write_coupons
    from nestkit.preparing import read_build

    build = read_build(build_file, None)
    coupons = coupon_jobs(build)
    folder = out if out is not None else default_out(build_file, "-coupon")
    with held_back():
        for file in write_coupons(build, coupons, folder):
            typer.echo(f"wrote {file}")
        faults = [
            fault for one in coupons for fault in check_coupon(folder, f"{one.job.name}.dxf", build.unit)
        ]
    for fault in faults:
        typer.echo(str(fault))
    if faults:
        raise typer.Exit(1)
    typer.echo(f"check: all is right: {counted(len(coupons), 'coupon')}")
    typer.echo(
        f"Cut them, measure what the page beside each (PDF) shows, fill in {folder / READINGS_FILE}, then:"
    )
    paths = (shlex.quote(str(path)) for path in (build_file, folder / READINGS_FILE))
    typer.echo(f"  nestkit calibrate {' '.join(paths)}")
