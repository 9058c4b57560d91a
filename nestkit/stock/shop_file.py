"""The shop's SQLite file: opened, made, brought up to this version, and never left half changed."""

from __future__ import annotations

import sqlite3
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from nestkit.errors import InputError, OutputError
from nestkit.stock.shop_schema import APPLICATION_ID, STEPS, VERSION, statements

#: So long one program waits for another that is writing, s.
PATIENCE = 20.0

#: What to do when the file is damaged.
PUT_BACK = "Put back a copy of it, or name another file with --shop"


def usual_shop() -> Path:
    """Where the shop is when nobody says otherwise: in the user's own data."""
    import platformdirs

    return platformdirs.user_data_path("nestkit", appauthor=False) / "shop.sqlite"


def connect(file: Path) -> sqlite3.Connection:
    """The open shop; made when it is missing, brought up to this version when it is older.

    Raises
    ------
    InputError
        When the file is no shop, is damaged, or was written by a newer nestkit.
    OutputError
        When it can't be opened or written.
    """
    with told(file):
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            what = f"its folder can't be made ({error.strerror})"
            raise OutputError.one(str(file), what, "Name another file with --shop") from None
        database = sqlite3.connect(file, timeout=PATIENCE, isolation_level=None)
        try:
            database.row_factory = sqlite3.Row
            database.execute("PRAGMA foreign_keys = ON")
            _refuse_others(database, file)
            _use_write_ahead(database)
            # What was booked is on the disk when the command ends, whatever happens to the machine then.
            database.execute("PRAGMA synchronous = FULL")
            if _version(database) < VERSION:
                _bring_up(database, file)
            faults = integrity(database)
            if faults:
                raise InputError.one(str(file), f"the shop's file is damaged ({faults[0]})", PUT_BACK)
        except BaseException:
            database.close()
            raise
    return database


@contextmanager
def transaction(database: sqlite3.Connection, file: Path) -> Iterator[None]:
    """All of what happens inside, or nothing; meanwhile no other program writes."""
    with told(file):
        database.execute("BEGIN IMMEDIATE")
        try:
            yield
            database.execute("COMMIT")
        except BaseException:
            if database.in_transaction:
                database.execute("ROLLBACK")
            raise


@contextmanager
def told(file: Path) -> Iterator[None]:
    """Turns what SQLite says into a message to the maker.

    Raises
    ------
    OutputError
        When another program is at it, or it can't be opened or written.
    InputError
        When it is no shop, or damaged.
    """
    try:
        yield
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            what = "another program is writing to the shop"
            raise OutputError.one(str(file), what, "Try again; nothing was changed") from error
        what = f"the shop can't be opened or written ({error})"
        todo = "See that there is room and that you may write there; nothing was changed"
        raise OutputError.one(str(file), what, todo) from error
    except sqlite3.DatabaseError as error:
        raise InputError.one(str(file), f"this is no shop, or it is damaged ({error})", PUT_BACK) from error
    except UnicodeDecodeError as error:  # so ends SQLite's own message when it quotes what is damaged
        raise InputError.one(str(file), "this is no shop, or it is damaged", PUT_BACK) from error


def integrity(database: sqlite3.Connection) -> list[str]:
    """What SQLite finds wrong with the file; empty when all is right."""
    faults = [str(row[0]) for row in database.execute("PRAGMA integrity_check") if row[0] != "ok"]
    return faults + [
        f"a row of {row[0]} refers to a missing one" for row in database.execute("PRAGMA foreign_key_check")
    ]


def _version(database: sqlite3.Connection) -> int:
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def _is_new(database: sqlite3.Connection) -> bool:
    return not database.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchall()


def _refuse_others(database: sqlite3.Connection, file: Path) -> None:
    if _is_new(database):
        return
    if database.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise InputError.one(
            str(file), "this is a database of another program", "Name another file with --shop"
        )
    version = _version(database)
    if version > VERSION:
        raise InputError.one(
            str(file),
            f"a newer nestkit wrote this shop: its version is {version}, and this one knows up to {VERSION}",
            "Use the newer nestkit; nothing was changed",
        )


def _use_write_ahead(database: sqlite3.Connection) -> None:
    """Readers and one writer at a time. A drive that can't do that keeps the usual journal, as safe."""
    if database.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        return
    end = time.monotonic() + PATIENCE
    while True:
        try:
            database.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            # SQLite does not wait here by itself when another program makes the same change.
            if "locked" not in str(error) or time.monotonic() > end:
                raise
            time.sleep(0.02)


def _bring_up(database: sqlite3.Connection, file: Path) -> None:
    with transaction(database, file):
        # Asked again: another program may have done it while this one waited for its turn.
        version = _version(database)
        for step in STEPS[version:]:
            for statement in statements(step):
                database.execute(statement)
        if version == 0:
            database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            database.execute("INSERT INTO shop VALUES (1, ?)", (str(uuid.uuid4()),))
        database.execute(f"PRAGMA user_version = {VERSION}")
