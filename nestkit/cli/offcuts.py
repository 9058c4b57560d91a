"""``nestkit offcuts``: what lies in the shop."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.cli.interrupts import held_back
from nestkit.cli.values import choice, whole
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.build.model import Build
    from nestkit.stock.pieces import Piece
    from nestkit.stock.shop import Booking
    from nestkit.units import Unit


#: Said when the list of the shop is of no use to a build.
NOTHING_FITS = "The shop has nothing of this build's foams."


class ShownUnit(StrEnum):
    """What lengths are typed and shown in."""

    MM = "mm"
    IN = "in"


ShopFile = Annotated[
    Path | None,
    typer.Option(
        "--shop",
        metavar="FILE",
        envvar="NESTKIT_SHOP",
        help="The shop's file. Without it: the one in your user data.",
    ),
]


def _unit_option(words: str) -> Any:
    return typer.Option(
        "--unit", parser=choice(ShownUnit), metavar="mm|in", envvar="NESTKIT_UNIT", help=words
    )


InUnit = Annotated[ShownUnit, _unit_option("What lengths are in.")]
PlansUnit = Annotated[
    ShownUnit | None, _unit_option("What lengths are in; without it, mm or as a plan's are.")
]

app = typer.Typer(
    name="offcuts", help="Keeps the sheets and offcuts that lie in the shop.", no_args_is_help=True
)


@app.command("list")
def list_pieces(
    context: typer.Context,
    material: Annotated[str | None, typer.Option(help="Only this material.")] = None,
    thickness: Annotated[str | None, typer.Option(help="Only this thickness, for example 6 or 6mm.")] = None,
    unit: InUnit = ShownUnit.MM,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Lists what lies in the shop."""
    from nestkit.build.model import same_thickness
    from nestkit.stock.shop import Shop
    from nestkit.units import MM_PER_FOOT, show_length, show_size

    script = script_output(context, as_json)
    wanted = None if thickness is None else given_length("--thickness", thickness, unit.value)
    file = shop_file(shop)
    found: list[Piece] = []
    if file.exists():
        with Shop(file) as store:
            found = [
                piece
                for piece in store.pieces()
                if (material is None or piece.material == material.lower())
                and (wanted is None or same_thickness(piece.thickness, wanted))
            ]
    found.sort(key=lambda piece: (piece.material, piece.thickness, piece.number))
    if script is not None:
        print_json(script, {"shop": str(file), "pieces": [piece_data(piece) for piece in found]})
    if not found:
        none = "nothing like that" if material or thickness else "nothing"
        typer.echo(f"There is {none} in the shop ({file}).")
        sizes = "--size 16x12in --material eva --thickness 0.25in"
        if unit is ShownUnit.MM:
            sizes = "--size 400x300 --material eva --thickness 6"
        typer.echo(f"Put something in: nestkit offcuts add {sizes}")
        return
    from nestkit.cli.tables import show

    show(
        (
            ("piece", "left"),
            ("material", "left"),
            ("thickness", "right"),
            ("size", "right"),
            ("foam", "right"),
            ("where", "left"),
            ("since", "left"),
            ("note", "left"),
        ),
        [
            (
                piece.name,
                piece.material,
                show_length(piece.thickness, unit.value),
                show_size(*piece.outline.size, unit.value),
                _share(piece),
                piece.place or "-",
                piece.since[:10],
                " ".join(word for word in (piece.note, piece.photo and f"photo: {piece.photo}") if word),
            )
            for piece in found
        ],
    )
    area = sum(piece.outline.area for piece in found)
    shown = f"{area / MM_PER_FOOT**2:.1f} ft2" if unit is ShownUnit.IN else f"{area / 1e6:.2f} m2"
    typer.echo(f"{counted(len(found), 'piece')}, {shown} ({file})")


def _share(piece: Piece) -> str:
    """How much of its bounding box is foam; nothing to say of a rectangle."""
    if piece.is_rectangle:
        return "-"
    width, height = piece.outline.size
    return f"{piece.outline.area / (width * height):.0%}"


@app.command()
def drop(
    context: typer.Context,
    numbers: Annotated[
        list[int], typer.Argument(parser=whole(1), metavar="NUMBER...", help="Numbers of the pieces.")
    ],
    why: Annotated[str, typer.Option(help="What became of it.")] = "dropped",
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Takes pieces out of the shop that are used up, lost or thrown away."""
    from nestkit.stock.shop import Shop

    script = script_output(context, as_json)
    with held_back(), Shop(there(shop)) as store:
        booking = store.drop(numbers, why)
        typer.echo(f"{counted(len(booking.went), 'piece')} dropped: {_listed(booking.went)}")
        say_undo()
        if script is not None:
            print_json(script, {"shop": str(store.file), "booking": booking_data(booking)})


@app.command()
def undo(context: typer.Context, shop: ShopFile = None, as_json: AsJson = False) -> None:
    """Takes the last booking back."""
    from nestkit.stock.shop import Shop

    script = script_output(context, as_json)
    with held_back(), Shop(there(shop)) as store:
        booking = store.undo()
        typer.echo(f"taken back: {booking.what} ({booking.at})")
        if booking.went:
            typer.echo(f"there again: {_listed(booking.went)}")
        if booking.came:
            typer.echo(f"gone again: {_listed(booking.came)}")
        if script is not None:
            print_json(script, {"shop": str(store.file), "booking": booking_data(booking)})


def shop_file(given: Path | None) -> Path:
    """The shop's file: the one that was named, or the usual one."""
    from nestkit.stock.shop_file import usual_shop

    return usual_shop() if given is None else given


def there(given: Path | None) -> Path:
    """The shop's file, which must be there already.

    Raises
    ------
    InputError
        When it is not.
    """
    from nestkit.errors import InputError

    file = shop_file(given)
    if not file.exists():
        raise InputError.one(
            str(file),
            "there is no shop yet",
            "Put something in with nestkit offcuts add, or name its file with --shop",
        )
    return file


def pieces_for(build: Build, file: Path) -> tuple[tuple[Piece, ...], str]:
    """What lies in the shop of this build's foams, and the shop's id; says how much that is."""
    from nestkit.stock.shop import Shop
    from nestkit.stock.shop_sheets import with_pieces

    with Shop(file) as store:
        there, name = store.pieces(), store.id
    usable = {sheet.piece for sheet in with_pieces(build, there, name).sheets}
    found = tuple(piece for piece in there if piece.number in usable)
    typer.echo(f"{counted(len(found), 'piece')} of this build's foams in the shop" if found else NOTHING_FITS)
    return found, name


def given_length(option: str, text: str, unit: Unit) -> float:
    """A length from the command line, mm.

    Raises
    ------
    InputError
        When the text is none.
    """
    from nestkit.errors import InputError
    from nestkit.units import read_lengths

    try:
        (length,) = read_lengths(text, 1, unit)
    except ValueError as error:
        raise InputError.one(option, str(error), "Write for example 6, 6mm or 0.25in") from None
    return length


def piece_line(piece: Piece, unit: Unit) -> str:
    """A piece in a line: number, foam, size, where it lies."""
    from nestkit.units import show_length, show_size

    foam = f"{piece.material} {show_length(piece.thickness, unit)}"
    place = f", {piece.place}" if piece.place else ""
    return f"{piece.name}: {foam} {show_size(*piece.outline.size, unit)}{place}"


def say_undo() -> None:
    """How a booking is taken back."""
    typer.echo("To take this back: nestkit offcuts undo")


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers))


def piece_data(piece: Piece) -> dict[str, Any]:
    """A piece as data; arcs flattened."""
    width, height = piece.outline.size
    return {
        "piece": piece.number,
        "name": piece.name,
        "whole": piece.whole,
        "material": piece.material,
        "thickness_mm": round(piece.thickness, 4),
        "width_mm": round(width, 4),
        "height_mm": round(height, 4),
        "area_mm2": round(piece.outline.area, 4),
        "outline_mm": piece.outline.exterior.flatten().round(4).tolist(),
        "holes_mm": [hole.flatten().round(4).tolist() for hole in piece.outline.holes],
        "place": piece.place,
        "photo": piece.photo,
        "note": piece.note,
        "since": piece.since,
    }


def booking_data(booking: Booking) -> dict[str, Any]:
    """A booking as data."""
    return {
        "booking": booking.number,
        "at": booking.at,
        "kind": booking.kind,
        "what": booking.what,
        "came": list(booking.came),
        "went": list(booking.went),
    }
