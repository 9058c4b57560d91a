"""The shop's tables: a script for each version, run once on a file of the version before."""

from __future__ import annotations

#: Says in the file's head that it is a shop: "nkit".
APPLICATION_ID = 0x6E6B6974

#: Version 1: pieces, and the bookings by which they came and went. Numbers are never given twice, so that
#: a plan can't mean another piece by the number of one that is gone.
_PIECES = """
CREATE TABLE shop (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    id TEXT NOT NULL
);
CREATE TABLE booking (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    at TEXT NOT NULL,
    kind TEXT NOT NULL,
    what TEXT NOT NULL
);
CREATE TABLE piece (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    whole INTEGER NOT NULL CHECK (whole IN (0, 1)),
    material TEXT NOT NULL CHECK (material <> ''),
    thickness REAL NOT NULL CHECK (thickness > 0),
    outline TEXT NOT NULL,
    place TEXT NOT NULL,
    photo TEXT NOT NULL,
    note TEXT NOT NULL,
    came INTEGER NOT NULL REFERENCES booking (number),
    went INTEGER REFERENCES booking (number) CHECK (went > came)
);
CREATE INDEX piece_came ON piece (came);
CREATE INDEX piece_went ON piece (went);
"""

#: Version 2: the sheets that were cut, by a digest of what was cut from them.
_CUT = """
CREATE TABLE cut (
    digest TEXT NOT NULL,
    booking INTEGER NOT NULL REFERENCES booking (number) ON DELETE CASCADE,
    PRIMARY KEY (digest, booking)
);
"""

#: In order; a file of version n has run the first n.
STEPS: tuple[str, ...] = (_PIECES, _CUT)

#: The version that this nestkit writes.
VERSION = len(STEPS)


def statements(script: str) -> list[str]:
    """The script's statements one by one: sqlite3's own way to run a script would end the transaction."""
    return [statement for part in script.split(";") if (statement := part.strip())]
