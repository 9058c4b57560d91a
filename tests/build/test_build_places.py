"""Lines of keys, held against what tomllib reads and against keys that stand on one line only."""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Iterator
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from nestkit.build.places import Keys, key_lines

TRICKY = '''# [no] key = 1
"dotted.name".'two words' = """a = 1
[b]
\\""" still text"""""
[[part]]
name = 'C:\\' # ]
size = [1, # }
  2, {a = "}", b.c = [[3],
  4]}]
[[part.hole]]
at = 1979-05-27 07:32:00
[part.more]
empty = {}
text = \'\'\'
name = 2\'\'\'
[[part]]
[x.y]
[x]
d = "\\\\"
'''


def paths_of(value: Any, path: Keys = ()) -> Iterator[Keys]:
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from paths_of(item, (*path, key))


def test_every_path_of_tricky_toml_has_its_line() -> None:
    lines = key_lines(TRICKY)
    assert set(lines) == set(paths_of(tomllib.loads(TRICKY)))
    assert lines[("part", 0, "size", 2, "b", "c", 1)] == 9
    assert lines[("part", 1)] == 16
    assert lines[("x", "d")] == 19
    assert key_lines(TRICKY.replace("\n", "\r\n")) == lines


scalars = st.one_of(
    st.integers(-9, 9),
    st.booleans(),
    st.sampled_from(['"#"', "'[x]'", '"""\n# = 1\n"""', "'''a\n'''''", '"\\""', "1979-05-27", "-inf", "1e3"]),
)
trees = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.integers(0, 99), inner, max_size=3),
        st.lists(st.dictionaries(st.integers(0, 99), inner, max_size=3), min_size=1, max_size=3),
    ),
    max_leaves=12,
)


class Writer:
    """TOML in every style: headers, dotted keys, inline tables, arrays over several lines; no key twice."""

    def __init__(self, choose: st.DrawFn) -> None:
        self.choose = choose
        self.numbers = itertools.count()
        self.lines: list[str] = []

    def key(self) -> str:
        name = f"key{next(self.numbers)}z"
        return self.choose(st.sampled_from([name, f'"{name} ="', f"'{name}.'"]))

    def inline(self, value: Any) -> str:
        comma = self.choose(st.sampled_from([", ", ",\n  ", ", # ]\n"]))
        if isinstance(value, list):
            return f"[{comma.join(map(self.inline, value))}]"
        if isinstance(value, dict):
            pairs = [f"{self.key()} = {self.inline(item)}" for item in value.values()]
            return "{" + ", ".join(pairs) + "}"
        return str(value).lower() if isinstance(value, bool | int) else value

    def table(self, value: dict[int, Any], path: str = "") -> None:
        later = []
        for item in value.values():
            key = self.key()
            inner = isinstance(item, dict) or (
                isinstance(item, list) and item and all(isinstance(i, dict) for i in item)
            )
            if inner and self.choose(st.booleans()):
                later.append((path + key, item))
            else:
                self.lines.append(f"{key} = {self.inline(item)}")
        for name, item in later:
            for one in item if isinstance(item, list) else [item]:
                self.lines.append(f"[[{name}]]" if isinstance(item, list) else f" [ {name} ] # c")
                self.table(one, f"{name}.")


@st.composite
def texts(choose: st.DrawFn) -> str:
    writer = Writer(choose)
    writer.table(choose(st.dictionaries(st.integers(0, 99), trees, max_size=5)))
    return "\n".join(writer.lines)


@given(texts())
def test_lines_are_where_the_keys_stand(text: str) -> None:
    lines = key_lines(text)
    assert set(lines) == set(paths_of(tomllib.loads(text)))
    written = text.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str):
            first = next(number for number, row in enumerate(written, 1) if path[-1] in row)
            assert line == first
