"""The commands; no computation here, and nothing heavy is imported before a command needs it."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from nestkit import __version__
from nestkit.cli.calibrate import calibrate
from nestkit.cli.check import check
from nestkit.cli.coupon import coupon
from nestkit.cli.guide import guide
from nestkit.cli.interrupts import end_at_once_on_ctrl_c
from nestkit.cli.new import new
from nestkit.cli.offcuts import app as offcuts
from nestkit.cli.offcuts_add import add
from nestkit.cli.offcuts_use import use
from nestkit.cli.parts import parts
from nestkit.cli.plan import plan
from nestkit.cli.scales import scales
from nestkit.cli.schema import schema
from nestkit.memory import look_rarely

app = typer.Typer(
    name="nestkit",
    help="Plans a prop made of foam sheet: how many sheets to buy, what lies where, and the cutter's files.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command in (new, parts, plan, scales, coupon, calibrate, check, guide, schema):
    app.command()(command)
offcuts.command()(add)
offcuts.command()(use)
app.add_typer(offcuts)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"nestkit {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Plans a prop made of foam sheet: how many sheets to buy, what lies where, and the cutter's files."""


def main() -> None:
    """Runs the program; every mistake in the input ends in a message, never in a traceback."""
    end_at_once_on_ctrl_c()
    look_rarely()
    from nestkit.errors import NestkitError

    try:
        app()
    except NestkitError as error:
        typer.echo(str(error), err=True)
        sys.exit(error.exit_code)
