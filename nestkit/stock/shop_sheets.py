"""A build with what lies in the shop among its sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from nestkit.build.model import Build, Sheet, same_thickness
from nestkit.stock.pieces import Piece


def with_pieces(build: Build, pieces: Sequence[Piece], shop: str) -> Build:
    """The build with those pieces that are of one of its foams, each as a sheet of its own.

    They cost nothing and can't be bought; a material and thickness that the build has no sheet of is
    left alone.

    Parameters
    ----------
    build : Build
        Without pieces of a shop.
    pieces : sequence of Piece
    shop : str
        The shop's id.
    """
    names = {sheet.name for sheet in build.sheets}
    found: list[Sheet] = []
    for piece in pieces:
        foam = _foam(build, piece)
        if foam is not None:
            name = piece.name if piece.name not in names else f"{piece.name} of the shop"
            found.append(
                Sheet(
                    name=name,
                    material=foam.material,
                    thickness=foam.thickness,
                    size=piece.outline.size,
                    in_shop=1,
                    buy=False,
                    density=foam.density,
                    piece=piece.number,
                    outline=None if piece.is_rectangle else piece.outline,
                    place=piece.place,
                )
            )
    return replace(build, sheets=(*build.sheets, *found), shop=shop if found else "")


def _foam(build: Build, piece: Piece) -> Sheet | None:
    """A sheet of the build that is of the piece's foam."""
    for sheet in build.sheets:
        if sheet.material == piece.material and same_thickness(sheet.thickness, piece.thickness):
            return sheet
    return None
