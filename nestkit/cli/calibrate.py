"""``nestkit calibrate``: from a coupon's readings to settings."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.interrupts import held_back
from nestkit.cli.planning_options import BuildFile
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.build.model import Build, Cutter
    from nestkit.folds.calibrate import Calibration
    from nestkit.folds.fits import Estimate
    from nestkit.units import Unit


def calibrate(
    build_file: BuildFile,
    readings: Annotated[
        Path, typer.Argument(metavar="READINGS.csv", help="The coupon's table with what you measured.")
    ],
) -> None:
    """Turns the readings of a coupon into settings, and writes them into the build file."""
    from nestkit.build import load_build
    from nestkit.build.model import same_thickness
    from nestkit.build.readings import read_readings
    from nestkit.build.settings import FoamSettings, write_settings
    from nestkit.errors import InputError, Problem
    from nestkit.folds.calibrate import calibrate as fit_foam
    from nestkit.units import show_length

    if build_file.suffix.lower() == ".csv" or readings.suffix.lower() == ".toml":
        swapped = build_file.suffix.lower() == ".csv" and readings.suffix.lower() == ".toml"
        first, last = (readings, build_file) if swapped else ("BUILD", "READINGS.csv")
        raise InputError.one(
            "calibrate",
            f"the build file comes first, then the readings, but {build_file} is given for the build file "
            f"and {readings} for the readings",
            f"Write: nestkit calibrate {first} {last}",
        )
    build = load_build(build_file)
    measured = {
        f"{foam.material} {show_length(foam.thickness, build.unit)}": foam for foam in read_readings(readings)
    }
    strange = [
        Problem(readings.name, f"no sheet of the build is {name}", "Name the build that the coupon is of")
        for name, foam in measured.items()
        if not any(
            sheet.material == foam.material and same_thickness(sheet.thickness, foam.thickness)
            for sheet in build.sheets
        )
    ]
    if strange:
        raise InputError(strange)
    foams = []
    for name, foam in measured.items():
        result = fit_foam(foam.readings, foam.thickness, build.unit)
        cutter = build.cutter_for(foam.material, foam.thickness)
        values, doubts = _settings(result, foam.material, foam.thickness, cutter, build.unit)
        if values:
            foams.append(FoamSettings(foam.material, foam.thickness, values))
        typer.echo(f"{name}:")
        _show(build, result, cutter, values, doubts)
    if not foams:
        typer.echo(
            "Nothing was changed: the readings give no setting. Measure more fields of the coupon, and fill "
            "them in."
        )
        raise typer.Exit(1)
    with held_back():
        kept = write_settings(build_file, foams, build.unit)
    typer.echo(f"wrote the settings into {build_file}; the file as it was is {kept}")
    typer.echo(f"Next: nestkit plan {shlex.quote(str(build_file))}")


def _settings(
    result: Calibration, material: str, thickness: float, cutter: Cutter, unit: Unit
) -> tuple[dict[str, float], dict[str, str]]:
    """What is written, and why the rest is not, by the build file's keys.

    The width factor is written if it was found, else the skin; never both, each is for one alone.
    """
    from nestkit.build.model import Foam, cutter_for
    from nestkit.build.settings import can_be_set
    from nestkit.cutting.etching import part_steps
    from nestkit.folds.calibrate import MOST_KERF, most_unsure
    from nestkit.units import mm_per

    values: dict[str, float] = {}
    doubts: dict[str, str] = {}

    def take(key: str, found: Estimate | None) -> bool:
        if found is None:
            return False
        most = most_unsure(key, found.value, thickness)
        if key == "kerf" and found.value > MOST_KERF:
            doubts[key] = (
                "no laser or knife takes that much away; look at the decimal point and the unit of the K "
                "readings"
            )
        elif (found.high - found.low) / 2.0 > most:
            most, digits = (
                (most, 3) if key == "width_factor" else (most / mm_per(unit), 3 if unit == "mm" else 5)
            )
            doubts[key] = (
                f"too unsure, no more than {most:.{digits}f} would do; measure each field twice or more"
            )
        elif not can_be_set(key, found.value, unit):
            doubts[key] = "no build file takes such a value; measure again"
        else:
            values[key] = found.value
        return key in values

    take("kerf", result.kerf)
    if take("pass_depth", result.pass_depth):
        values["falloff"] = 0.0 if result.falloff is None else result.falloff.value
    if not take("width_factor", result.width_factor) and take("skin", result.skin):
        values["width_factor"] = 1.0
    if cutter.kind == "laser":
        try:
            own = Foam(material, thickness, **values)
            part_steps(cutter_for(cutter, [own], material, thickness), thickness, unit)
        except ValueError as error:
            for key in [key for key in values if key != "kerf"]:
                del values[key]
                doubts[key] = f"with it, {error}; measure again"
    return values, doubts


def _show(
    build: Build, result: Calibration, cutter: Cutter, values: dict[str, float], doubts: dict[str, str]
) -> None:
    from nestkit.folds.fits import SURE
    from nestkit.units import mm_per

    per, digits = mm_per(build.unit), 3 if build.unit == "mm" else 5

    def line(key: str, what: str, before: float, found: Estimate | None) -> None:
        if found is None:
            return
        scale, unit = (1.0, "") if key == "width_factor" else (per, f" {build.unit}")
        reach = (found.high - found.low) / 2.0 / scale
        turns = f"{before / scale:.{digits}f} -> " if key in values and key not in doubts else ""
        doubt = f"; not set: {doubts[key]}" if key in doubts else "" if key in values else "; not set"
        typer.echo(
            f"  {what}: {turns}{found.value / scale:.{digits}f}{unit}, give or "
            f"take {reach:.{digits}f} ({SURE:.0%} sure, {counted(found.readings, 'reading')}){doubt}"
        )

    line("kerf", "kerf", cutter.kerf, result.kerf)
    bent = "" if result.falloff is None else ", before falloff"
    line("pass_depth", f"depth per pass{bent}", cutter.pass_depth, result.pass_depth)
    line("falloff", "falloff (depth falls off with passes)", cutter.falloff, result.falloff)
    line("width_factor", "width factor", cutter.width_factor, result.width_factor)
    spare = "" if "width_factor" not in values or "skin" in values else " that would do with width factor 1"
    line("skin", f"skin{spare}", cutter.skin, result.skin)
    if result.width_factor is not None and "skin" not in values and "width_factor" in values:
        kept = f"{cutter.skin / per:.{digits}f} {build.unit}"
        typer.echo(f"  skin: stays {kept}; the width factor alone makes folds close")
    for field in result.outliers:
        typer.echo(f"  {field}: a reading stands out and is left out; measure it again")
    for note in result.notes:
        typer.echo(f"  note: {note}")
