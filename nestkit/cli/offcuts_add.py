"""``nestkit offcuts add``: takes a sheet or an offcut into the shop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.cli.interrupts import held_back
from nestkit.cli.offcuts import (
    PlansUnit,
    ShopFile,
    booking_data,
    given_length,
    piece_data,
    piece_line,
    say_undo,
    shop_file,
)
from nestkit.cli.offcuts_use import plans_unit, show_used
from nestkit.cli.values import whole

if TYPE_CHECKING:
    from nestkit.geometry import Outline
    from nestkit.units import Unit


def add(
    context: typer.Context,
    size: Annotated[
        str | None, typer.Option(metavar="WIDTHxHEIGHT", help="A rectangle, for example 400x300.")
    ] = None,
    drawing: Annotated[
        str | None, typer.Option("--from", metavar="FILE#ID", help="Its edge, drawn true to size.")
    ] = None,
    plan: Annotated[
        Path | None, typer.Option(metavar="DIR", help="The leftovers of a sheet of this plan, with --sheet.")
    ] = None,
    sheet: Annotated[
        int | None, typer.Option(parser=whole(1), metavar="NUMBER", help="Which sheet of the plan.")
    ] = None,
    material: Annotated[str | None, typer.Option(help="For example eva.")] = None,
    thickness: Annotated[str | None, typer.Option(help="For example 6, 6mm or 0.25in.")] = None,
    whole: Annotated[bool, typer.Option("--whole", help="It is a sheet as bought, not an offcut.")] = False,
    count: Annotated[int, typer.Option(parser=whole(1, 1000), metavar="NUMBER", help="How many alike.")] = 1,
    place: Annotated[str, typer.Option(help="Where it lies.")] = "",
    photo: Annotated[Path | None, typer.Option(metavar="FILE", help="A picture of it.")] = None,
    note: Annotated[str, typer.Option(help="What else there is to say.")] = "",
    again: Annotated[bool, typer.Option("--again", help="With --plan: it was cut once more.")] = False,
    unit: PlansUnit = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Takes a sheet or an offcut into the shop: a rectangle, a drawn edge, or a plan's leftovers."""
    from nestkit.errors import InputError
    from nestkit.stock.pieces import Piece
    from nestkit.stock.shop import Shop
    from nestkit.units import show_length, show_size

    script = script_output(context, as_json)
    if [size, drawing, plan].count(None) != 2 or (plan is None) != (sheet is None):
        raise InputError.one(
            "offcuts add",
            "what it is must be said in one way",
            "Give --size 400x300, or --from drawing.svg#id, or --plan DIR with --sheet NUMBER",
        )
    if plan is not None and sheet is not None:
        from nestkit.booking import add_leftovers

        with held_back(), Shop(shop_file(shop)) as store:
            used = add_leftovers(store, plan, sheet, place, again)
            show_used(store, used, plans_unit(plan, unit), script)
        return
    if material is None or thickness is None:
        missing = "--material" if material is None else "--thickness"
        raise InputError.one(
            "offcuts add", f"{missing} is missing", "For example: --material eva --thickness 6"
        )
    typed: Unit = "mm" if unit is None else unit.value
    outline = _rectangle(size, typed) if size is not None else _drawn(drawing or "", typed)
    thick = given_length("--thickness", thickness, typed)
    picture = "" if photo is None else _picture(photo)
    try:
        piece = Piece(material, thick, outline, whole, place, picture, note)
    except ValueError as error:
        raise InputError.one("offcuts add", str(error), "See: nestkit offcuts add --help") from None
    length = show_length(piece.thickness, typed)
    shown = f"{piece.material} {length} {show_size(*outline.size, typed)}"
    with held_back(), Shop(shop_file(shop)) as store:
        booking = store.add([piece] * count, f"added {shown}")
        added = [each for each in store.pieces() if each.number in booking.came]
        for each in added:
            typer.echo(piece_line(each, typed))
        say_undo()
        if script is not None:
            data = {"booking": booking_data(booking), "pieces": [piece_data(each) for each in added]}
            print_json(script, {"shop": str(store.file), **data})


def _rectangle(size: str, unit: Unit) -> Outline:
    from nestkit.errors import InputError
    from nestkit.stock.blanks import rectangle
    from nestkit.units import read_lengths

    try:
        width, height = read_lengths(size, 2, unit)
        return rectangle(width, height)
    except ValueError as error:
        raise InputError.one(
            "--size", str(error), "Write for example 400x300, 400x300mm or 16x12in"
        ) from None


def _drawn(text: str, unit: Unit) -> Outline:
    from nestkit.cli.tables import doubtful, say
    from nestkit.stock.drawn import drawn_edge

    outline, findings = drawn_edge(text, unit)
    for finding in findings:
        say(doubtful("note: "), str(finding))
    return outline


def _picture(file: Path) -> str:
    from nestkit.errors import InputError

    if not file.is_file():
        raise InputError.one(str(file), "there is no such picture", "Name its file, or leave --photo out")
    return str(file.resolve())
