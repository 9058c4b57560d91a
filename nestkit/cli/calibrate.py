"""``nestkit calibrate``: from a coupon's readings to settings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.interrupts import held_back

if TYPE_CHECKING:
    from nestkit.build.model import Build, Cutter
    from nestkit.folds.calibrate import Calibration
    from nestkit.folds.fits import Estimate


def calibrate(
    build_file: Annotated[Path, typer.Argument(metavar="BUILD", help="The build file.")],
    readings: Annotated[
        Path, typer.Argument(metavar="READINGS.csv", help="The coupon's table with what you measured.")
    ],
) -> None:
    """Turns the readings of a coupon into settings, and writes them into the build file."""
    from nestkit.build import load_build
    from nestkit.build.readings import read_readings
    from nestkit.build.settings import FoamSettings, write_settings
    from nestkit.errors import InputError
    from nestkit.folds.calibrate import calibrate as fit_foam
    from nestkit.units import show_length

    build = load_build(build_file)
    foams = []
    told = []
    for foam in read_readings(readings):
        name = f"{foam.material} {show_length(foam.thickness, build.unit)}"
        if not any(
            sheet.material == foam.material and abs(sheet.thickness - foam.thickness) < 0.02
            for sheet in build.sheets
        ):
            raise InputError.one(
                readings.name, f"no sheet of the build is {name}", "Name the build that the coupon is of"
            )
        result = fit_foam(foam.readings, foam.thickness)
        cutter = build.cutter_for(foam.material, foam.thickness)
        values = _settings(result)
        if values:
            foams.append(FoamSettings(foam.material, foam.thickness, values))
        told.append((name, result, cutter))
    for name, result, cutter in told:
        typer.echo(f"{name}:")
        _show(build, result, cutter)
    if not foams:
        typer.echo("Nothing was changed: the readings give no setting.")
        raise typer.Exit(1)
    with held_back():
        kept = write_settings(build_file, foams, build.unit)
    typer.echo(f"wrote the settings into {build_file}; the file as it was is {kept}")


def _settings(result: Calibration) -> dict[str, float]:
    """What is written: the width factor if it was found, else the skin; never both, each is for one alone."""
    values: dict[str, float] = {}
    if result.kerf is not None:
        values["kerf"] = result.kerf.value
    if result.pass_depth is not None:
        values["pass_depth"] = result.pass_depth.value
        values["falloff"] = 0.0 if result.falloff is None else result.falloff.value
    if result.width_factor is not None:
        values["width_factor"] = result.width_factor.value
    elif result.skin is not None:
        values["skin"], values["width_factor"] = result.skin.value, 1.0
    return values


def _show(build: Build, result: Calibration, cutter: Cutter) -> None:
    from nestkit.folds.fits import SURE
    from nestkit.units import mm_per

    per, digits = mm_per(build.unit), 3 if build.unit == "mm" else 5

    def line(what: str, before: float, found: Estimate | None, length: bool = True) -> None:
        if found is None:
            return
        scale, unit = (per, f" {build.unit}") if length else (1.0, "")
        reach = (found.high - found.low) / 2.0 / scale
        typer.echo(
            f"  {what}: {before / scale:.{digits}f} -> {found.value / scale:.{digits}f}{unit}, give or take "
            f"{reach:.{digits}f} ({SURE:.0%} sure, standard error {found.error / scale:.{digits + 1}f}, "
            f"{found.readings} readings)"
        )

    line("kerf", cutter.kerf, result.kerf)
    line(
        "depth per pass, before falloff" if result.falloff else "depth per pass",
        cutter.pass_depth,
        result.pass_depth,
    )
    if result.falloff is not None:
        line("falloff (depth falls off with passes)", cutter.falloff, result.falloff)
    line("width factor", cutter.width_factor, result.width_factor, length=False)
    if result.skin is not None:
        alone = "skin" if result.width_factor is None else "skin that would do with width factor 1 (not set)"
        line(alone, cutter.skin, result.skin)
    for field in result.outliers:
        typer.echo(f"  {field}: a reading stands out and is left out; measure it again")
    for note in result.notes:
        typer.echo(f"  note: {note}")
