"""On which line of a TOML text each key stands.

`tomllib` reads values and forgets where they were. This walks the same text a second time, only to
note lines; it takes for granted that `tomllib` accepted the text.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_left

Keys = tuple[str | int, ...]

_BLANK = " \t"
_BARE_KEY_END = " \t\n=.]\"'"
_BARE_VALUE_END = ",]}#\n"


def key_lines(text: str) -> dict[Keys, int]:
    """The line of each table, key and array item, counting from 1.

    Parameters
    ----------
    text : str
        TOML that `tomllib.loads` accepts.

    Returns
    -------
    dict
        From paths such as ``("part", 2, "quantity")``, items counted from 0, to lines. A table that
        is written in several places has the first of them.
    """
    walk = _Walk(text.replace("\r\n", "\n"))
    walk.document()
    return walk.lines


class _Walk:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.newlines = [index for index, char in enumerate(text) if char == "\n"]
        self.lines: dict[Keys, int] = {}
        self.table_arrays: dict[Keys, int] = {}

    def document(self) -> None:
        table: Keys = ()
        while self.skip_to_something():
            if self.text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)

    def skip_to_something(self) -> bool:
        """Moves past blanks, line ends and comments; False at the end of the text."""
        while self.at < len(self.text):
            char = self.text[self.at]
            if char == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif char in _BLANK or char == "\n":
                self.at += 1
            else:
                return True
        return False

    def skip_blanks(self) -> None:
        while self.text[self.at : self.at + 1] in (" ", "\t"):
            self.at += 1

    def note(self, path: Keys) -> None:
        self.lines.setdefault(path, bisect_left(self.newlines, self.at) + 1)

    def header(self) -> Keys:
        of_array = self.text.startswith("[[", self.at)
        self.at += 2 if of_array else 1
        path: Keys = ()
        keys = self.keys()
        for index, key in enumerate(keys):
            path += (key,)
            self.note(path)
            if of_array and index == len(keys) - 1:
                self.table_arrays[path] = self.table_arrays.get(path, 0) + 1
            if path in self.table_arrays:
                path += (self.table_arrays[path] - 1,)
                self.note(path)
        self.at += 2 if of_array else 1
        return path

    def pair(self, table: Keys) -> None:
        path = table
        for key in self.keys():  # a key ends on the line where it began
            path += (key,)
            self.note(path)
        self.at += 1
        self.value(path)

    def keys(self) -> list[str]:
        """A key with its dots, up to the ``=`` or ``]`` behind it."""
        found = []
        while True:
            self.skip_blanks()
            start = self.at
            if self.text[self.at] in "\"'":
                self.string()
                found.append(tomllib.loads(f"key = {self.text[start : self.at]}")["key"])
            else:
                while self.text[self.at] not in _BARE_KEY_END:
                    self.at += 1
                found.append(self.text[start : self.at])
            self.skip_blanks()
            if self.text[self.at] != ".":
                return found
            self.at += 1

    def value(self, path: Keys) -> None:
        self.skip_blanks()
        char = self.text[self.at]
        if char in "\"'":
            self.string()
        elif char == "[":
            self.array(path)
        elif char == "{":
            self.inline_table(path)
        else:
            while self.at < len(self.text) and self.text[self.at] not in _BARE_VALUE_END:
                self.at += 1

    def array(self, path: Keys) -> None:
        self.at += 1
        index = 0
        while self.skip_to_something() and self.text[self.at] != "]":
            if self.text[self.at] == ",":
                self.at += 1
                continue
            item = (*path, index)
            self.note(item)
            self.value(item)
            index += 1
        self.at += 1

    def inline_table(self, path: Keys) -> None:
        self.at += 1
        while self.skip_to_something() and self.text[self.at] != "}":
            if self.text[self.at] == ",":
                self.at += 1
            else:
                self.pair(path)
        self.at += 1

    def string(self) -> None:
        quote = self.text[self.at]
        mark = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self.at += len(mark)
        while not self.text.startswith(mark, self.at):
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        self.at += len(mark)
        if len(mark) == 3:
            # Up to two quotes more belong to the text of a string of several lines.
            while self.text.startswith(quote, self.at):
                self.at += 1
