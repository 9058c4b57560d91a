"""``nestkit offcuts use``: books what was cut."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.cli.interrupts import held_back
from nestkit.cli.offcuts import (
    PlansUnit,
    ShopFile,
    ShownUnit,
    booking_data,
    piece_data,
    piece_line,
    say_undo,
    shop_file,
)

if TYPE_CHECKING:
    from typing import TextIO

    from nestkit.stock.shop import Shop
    from nestkit.stock.shop_uses import Used
    from nestkit.units import Unit


def use(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'nestkit plan' wrote.")],
    sheets: Annotated[
        str, typer.Option(metavar="NUMBERS", help="Only these sheets were cut, for example 1,3.")
    ] = "",
    place: Annotated[str, typer.Option(help="Where the leftovers will lie.")] = "",
    again: Annotated[bool, typer.Option("--again", help="The same was cut once more.")] = False,
    unit: PlansUnit = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Books a plan that was cut: its pieces go out of the shop, its leftovers come in."""
    from nestkit.booking import book_plan
    from nestkit.stock.shop import Shop

    script = script_output(context, as_json)
    wanted = given_numbers("--sheets", sheets) if sheets else ()
    with held_back(), Shop(shop_file(shop)) as store:
        used = book_plan(store, folder, wanted, place, again)
        show_used(store, used, plans_unit(folder, unit), script)


def plans_unit(folder: Path, asked: ShownUnit | None) -> Unit:
    """What a plan's pieces are told in: what was asked for, or what its build speaks."""
    from nestkit.checking import read_plan

    return read_plan(folder).unit if asked is None else asked.value


def show_used(store: Shop, used: Used, unit: Unit, script: TextIO | None) -> None:
    """What a booking of cut sheets did."""
    from nestkit.cli.tables import doubtful, say

    booking = used.booking
    typer.echo(f"booked: {booking.what}")
    for numbers, before in used.earlier:
        which = f"sheet {numbers[0]}" if len(numbers) == 1 else f"sheets {', '.join(map(str, numbers))}"
        say(doubtful("note: "), f"{which} was left alone, it is booked already: {before}")
    if booking.went:
        typer.echo(f"gone: {', '.join(map(str, booking.went))}")
    added = [piece for piece in store.pieces() if piece.number in booking.came]
    for piece in added:
        typer.echo(f"left: {piece_line(piece, unit)}")
    if not added:
        typer.echo("Nothing that is left is worth keeping.")
    say_undo()
    if script is not None:
        data = {"booking": booking_data(booking), "sheets": list(used.sheets)}
        more = {"earlier": [number for numbers, _ in used.earlier for number in numbers]}
        print_json(
            script,
            {"shop": str(store.file), **data, **more, "pieces": [piece_data(piece) for piece in added]},
        )


def given_numbers(option: str, text: str) -> tuple[int, ...]:
    """Numbers from the command line.

    Raises
    ------
    InputError
        When the text is no list of numbers.
    """
    from nestkit.errors import InputError
    from nestkit.words import read_numbers

    try:
        return read_numbers(text)
    except ValueError as error:
        raise InputError.one(option, str(error), "Write for example 1,3 or 1-4") from None
