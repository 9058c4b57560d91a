"""The shop: pieces of foam and the bookings by which they came and went. Each change is one transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from nestkit.errors import InputError, Problem
from nestkit.stock.pieces import Piece, outline_from, outline_text
from nestkit.stock.shop_file import PUT_BACK, connect, integrity, told, transaction
from nestkit.stock.shop_uses import Use, Used

_PIECES = """
    SELECT piece.*, came.at AS since, went.at AS went_at, went.what AS went_what
    FROM piece
    JOIN booking AS came ON came.number = piece.came
    LEFT JOIN booking AS went ON went.number = piece.went
"""

_LOOK = "See what is there with nestkit offcuts list"


@dataclass(frozen=True, slots=True)
class Booking:
    """One change of the shop.

    Parameters
    ----------
    number : int
    at : str
        When, UTC, ISO 8601.
    kind : str
        add, drop or use.
    what : str
        In words: what was done.
    came, went : tuple of int
        Numbers of the pieces that came into the shop and of those that left it.
    """

    number: int
    at: str
    kind: str
    what: str
    came: tuple[int, ...]
    went: tuple[int, ...]


class Shop:
    """The pieces in one file. Use it in a ``with`` block, which closes the file.

    Parameters
    ----------
    file : pathlib.Path
        Made when it is missing.

    Raises
    ------
    InputError
        When the file is no shop, is damaged, or was written by a newer nestkit.
    OutputError
        When it can't be opened or written. So do all methods.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._database = connect(file)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file."""
        self._database.close()

    @property
    def id(self) -> str:
        """By which plans know this shop.

        Raises
        ------
        InputError
            When the file is damaged.
        """
        with told(self.file):
            row = self._database.execute("SELECT id FROM shop").fetchone()
        if row is None:
            raise InputError.one(str(self.file), "the shop's file is damaged (it has no name)", PUT_BACK)
        return str(row[0])

    def faults(self) -> list[str]:
        """What is wrong with the file; empty when nothing is."""
        with told(self.file):
            found = integrity(self._database)
        for row in self._rows(_PIECES):
            try:
                self._piece(row)
            except ValueError as error:
                found.append(f"piece {row['number']}: {error}")
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """What is there, by number."""
        rows = self._rows(f"{_PIECES} WHERE piece.went IS NULL ORDER BY piece.number")
        return tuple(self._piece(row) for row in rows)

    def last_booking(self) -> Booking | None:
        """The latest change; None when there is none."""
        rows = self._rows("SELECT max(number) FROM booking")
        return None if rows[0][0] is None else self._booking(rows[0][0])

    def add(self, pieces: Sequence[Piece], what: str) -> Booking:
        """Takes pieces in.

        Parameters
        ----------
        pieces : sequence of Piece
            Their own numbers do not matter; outlines are moved to the origin.
        what : str
            What is being done, for the list of bookings.
        """
        with transaction(self._database, self.file):
            number = self._book("add", what)
            self._take_in(pieces, number)
            return self._booking(number)

    def drop(self, numbers: Sequence[int], what: str) -> Booking:
        """Takes pieces out that are used up, lost or thrown away.

        Raises
        ------
        InputError
            When a piece is not there; none is taken out then.
        """
        with transaction(self._database, self.file):
            number = self._book("drop", what)
            self._take_out(numbers, number)
            return self._booking(number)

    def use(self, uses: Sequence[Use], what: str, again: bool = False, leftovers_only: bool = False) -> Used:
        """Books sheets that are cut: the pieces they were go out, what is left of them comes in.

        A sheet that was booked before is passed over; where only its leftovers came in then, the piece
        goes out now.

        Parameters
        ----------
        uses : sequence of Use
        what : str
        again : bool
            Book again what was booked before: it was cut once more.
        leftovers_only : bool
            The pieces do not go out.

        Raises
        ------
        InputError
            When a piece is gone, or there is nothing that was not booked before. Nothing is booked then.
        """
        with transaction(self._database, self.file):
            before = {} if again else {use.digest: self._bookings_of(use) for use in uses}
            full = [use for use in uses if not before.get(use.digest)]
            # Of these the leftovers are in; what remains is to take the pieces out.
            outs = [
                use
                for use in uses
                if not leftovers_only
                and use.piece is not None
                and {row["kind"] for row in before.get(use.digest, ())} == {"add"}
            ]
            earlier = [use for use in uses if use not in full and use not in outs]
            if not full and not outs:
                row = before[uses[0].digest][-1]
                raise InputError.one(
                    what,
                    f"this was booked already: {row['what']}, {row['at']}",
                    "Book it with --again if it was cut once more",
                )
            number = self._book("add" if leftovers_only else "use", what)
            if not leftovers_only:
                pieces = [use.piece for use in (*full, *outs) if use.piece is not None]
                self._take_out(pieces, number, "Plan again with nestkit plan --offcuts")
            self._take_in([piece for use in full for piece in use.leftovers], number)
            for use in (*full, *outs):
                self._database.execute("INSERT INTO cut VALUES (?, ?)", (use.digest, number))
            return Used(
                self._booking(number),
                tuple(sheet for use in (*full, *outs) for sheet in use.sheets),
                tuple(
                    (use.sheets, f"{before[use.digest][-1]['what']}, {before[use.digest][-1]['at']}")
                    for use in earlier
                ),
            )

    def _bookings_of(self, use: Use) -> list[sqlite3.Row]:
        """The bookings of the same sheet, oldest first."""
        return self._rows(
            "SELECT booking.* FROM cut JOIN booking ON booking.number = cut.booking"
            " WHERE cut.digest = ? ORDER BY booking.number",
            (use.digest,),
        )

    def undo(self) -> Booking:
        """Takes the last booking back: what it took out is there again, what it brought is not.

        Raises
        ------
        InputError
            When there is nothing to take back.
        """
        with transaction(self._database, self.file):
            last = self.last_booking()
            if last is None:
                raise InputError.one(str(self.file), "nothing was ever booked", "There is nothing to undo")
            self._database.execute("UPDATE piece SET went = NULL WHERE went = ?", (last.number,))
            self._database.execute("DELETE FROM piece WHERE came = ?", (last.number,))
            self._database.execute("DELETE FROM booking WHERE number = ?", (last.number,))
        return last

    def _rows(self, query: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        with told(self.file):
            return self._database.execute(query, tuple(values)).fetchall()

    def _book(self, kind: str, what: str) -> int:
        now = datetime.now(UTC).isoformat(timespec="seconds")
        made = self._database.execute(
            "INSERT INTO booking (at, kind, what) VALUES (?, ?, ?)", (now, kind, what)
        )
        assert made.lastrowid is not None
        return made.lastrowid

    def _take_in(self, pieces: Sequence[Piece], booking: int) -> None:
        for piece in (each.at_origin() for each in pieces):
            self._database.execute(
                "INSERT INTO piece (whole, material, thickness, outline, place, photo, note, came)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    int(piece.whole),
                    piece.material,
                    piece.thickness,
                    outline_text(piece.outline),
                    piece.place,
                    piece.photo,
                    piece.note,
                    booking,
                ),
            )

    def _take_out(self, numbers: Sequence[int], booking: int, todo: str = _LOOK) -> None:
        problems = [problem for number in dict.fromkeys(numbers) if (problem := self._missing(number, todo))]
        if problems:
            raise InputError(problems)
        for number in dict.fromkeys(numbers):
            self._database.execute("UPDATE piece SET went = ? WHERE number = ?", (booking, number))

    def _missing(self, number: int, todo: str) -> Problem | None:
        """Why a piece can't be taken out; None when it is there."""
        rows = self._rows(f"{_PIECES} WHERE piece.number = ?", (number,))
        if not rows:
            return Problem(f"piece {number}", "the shop has no piece of that number", todo)
        piece = self._piece(rows[0])
        if not piece.gone:
            return None
        return Problem(piece.name, f"is gone: {piece.gone}", todo)

    def _piece(self, row: sqlite3.Row) -> Piece:
        try:
            return self._read(row)
        except (ValueError, TypeError, AttributeError) as error:  # a row that no nestkit wrote
            why = str(error) if type(error) is ValueError else "a value is of the wrong kind"
            raise InputError.one(
                str(self.file), f"piece {row['number']} can't be read: {why}", PUT_BACK
            ) from error

    @staticmethod
    def _read(row: sqlite3.Row) -> Piece:
        return Piece(
            material=row["material"],
            thickness=row["thickness"],
            outline=outline_from(row["outline"]),
            whole=bool(row["whole"]),
            place=row["place"],
            photo=row["photo"],
            note=row["note"],
            number=row["number"],
            since=row["since"],
            gone="" if row["went"] is None else f"{row['went_what']}, {row['went_at']}",
        )

    def _booking(self, number: int) -> Booking:
        row = self._rows("SELECT * FROM booking WHERE number = ?", (number,))[0]
        came = self._rows("SELECT number FROM piece WHERE came = ? ORDER BY number", (number,))
        went = self._rows("SELECT number FROM piece WHERE went = ? ORDER BY number", (number,))
        return Booking(
            number,
            row["at"],
            row["kind"],
            row["what"],
            tuple(each[0] for each in came),
            tuple(each[0] for each in went),
        )
