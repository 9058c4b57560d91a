"""Damage that knows the format: what comes out still looks enough like a drawing, build or plan to get far.

Everything here is a function of the bytes and a `random.Random`, so that a fuzzer, hypothesis and a replay
make the same damage from the same numbers.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from itertools import pairwise
from random import Random
from typing import Any

from tests.fuzz.odd_values import (
    DXF_CODES,
    DXF_VALUES,
    ODD_JSON,
    ODD_NUMBERS,
    ODD_WORDS,
    PATH_PIECES,
    SVG_PIECES,
    TOML_VALUES,
)

Mutation = Callable[[bytes, Random], bytes]


def _odd(random: Random) -> str:
    return random.choice(ODD_NUMBERS if random.random() < 0.6 else ODD_WORDS)


def _pick(random: Random, many: Sequence[Any]) -> int:
    return random.randrange(len(many))


def _move_pieces(pieces: list[bytes], random: Random, most: int = 30) -> list[bytes]:
    """A run of pieces left out, doubled, repeated, moved or turned round."""
    start = _pick(random, pieces)
    run = pieces[start : start + random.randint(1, random.choice((1, 2, most)))]
    rest = pieces[:start] + pieces[start + len(run) :]
    match random.randrange(5):
        case 0:
            return rest
        case 1:
            return pieces[:start] + run + pieces[start:]
        case 2:
            return pieces[:start] + run * random.choice((3, 10, 100)) + pieces[start:]
        case 3:
            to = random.randint(0, len(rest))
            return rest[:to] + run + rest[to:]
        case _:
            return pieces[:start] + run[::-1] + pieces[start + len(run) :]


def bytes_of_any_kind(data: bytes, random: Random) -> bytes:
    """Bytes changed, cut out, doubled, or put in without regard to what they mean."""
    if not data:
        return bytes(random.randrange(256) for _ in range(random.randrange(8)))
    at, size = _pick(random, data), random.choice((1, 1, 2, 4, 40, 400))
    match random.randrange(5):
        case 0:
            return data[:at] + bytes([random.randrange(256)]) + data[at + 1 :]
        case 1:
            return data[:at] + data[at + size :]
        case 2:
            return data[:at] + data[at : at + size] * random.choice((2, 2, 50)) + data[at + size :]
        case 3:
            return data[:at] + _odd(random).encode("utf-8", "surrogatepass") + data[at:]
        case _:
            return data[: at + 1]


_NUMBER = re.compile(rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


def one_number(data: bytes, random: Random) -> bytes:
    """One of the numbers in a text made odd, or a little or a lot different."""
    found = list(_NUMBER.finditer(data))
    if not found:
        return bytes_of_any_kind(data, random)
    spot = random.choice(found)
    value = float(spot[0])
    new = random.choice(
        (
            random.choice(ODD_NUMBERS),
            random.choice(found)[0].decode(),
            f"{value * random.choice((0.5, 2.0, 10.0, 25.4, 1e6, 1e-6, -1.0)):.6g}",
            f"{value + random.choice((1e-9, 1e-6, 1e-3, 1.0, -1.0, 90.0)):.9g}",
        )
    )
    return data[: spot.start()] + new.encode() + data[spot.end() :]


def lines(data: bytes, random: Random) -> bytes:
    """Whole lines left out, doubled, moved."""
    return b"".join(_move_pieces(data.splitlines(keepends=True) or [b""], random))


_TAG = re.compile(rb"<[^>]*>")
_ATTRIBUTE = re.compile(rb"""([\w:-]+)\s*=\s*("[^"]*"|'[^']*')""")


def svg_elements(data: bytes, random: Random) -> bytes:
    """Tags moved about, put in, or given other attributes."""
    tags = list(_TAG.finditer(data))
    if not tags:
        return bytes_of_any_kind(data, random)
    kind = random.randrange(4)
    if kind == 0:
        cuts = [0, *(tag.end() for tag in tags), len(data)]
        pieces = [data[a:b] for a, b in pairwise(cuts)]
        return b"".join(_move_pieces(pieces, random))
    if kind == 1:
        at = random.choice(tags).end()
        return data[:at] + random.choice(SVG_PIECES) * random.choice((1, 1, 1, 200)) + data[at:]
    found = list(_ATTRIBUTE.finditer(data))
    if not found:
        return bytes_of_any_kind(data, random)
    spot = random.choice(found)
    value = spot[2][1:-1].decode("utf-8", "replace")
    if spot[1] == b"d" and random.random() < 0.7:
        words = value.split()
        words.insert(random.randint(0, len(words)), random.choice(PATH_PIECES))
        value = " ".join(words)
    else:
        value = random.choice((_odd(random), random.choice(found)[2][1:-1].decode("utf-8", "replace")))
    name = random.choice(found)[1] if kind == 3 else spot[1]
    value = value.replace('"', "&quot;")
    return data[: spot.start()] + name + b'="' + value.encode("utf-8", "replace") + b'"' + data[spot.end() :]


def dxf_groups(data: bytes, random: Random) -> bytes:
    """Group codes and their values changed; groups and whole entities moved about."""
    rows = data.split(b"\n")
    pairs = [b"\n".join(rows[k : k + 2]) + b"\n" for k in range(0, len(rows) - 1, 2)]
    if len(pairs) < 2:
        return bytes_of_any_kind(data, random)
    if random.random() < 0.3:
        starts = [k for k, pair in enumerate(pairs) if pair.split(b"\n")[0].strip() == b"0"]
        cuts = [0, *starts, len(pairs)]
        pieces = [b"".join(pairs[a:b]) for a, b in pairwise(cuts) if a < b]
        return b"".join(_move_pieces(pieces, random, 5))
    if random.random() < 0.2:
        return b"".join(_move_pieces(pairs, random))
    # Entities stand near the end, and that is what the readers look at most.
    at = random.choice((_pick(random, pairs), len(pairs) - 1 - _pick(random, pairs) // 4))
    code, value = pairs[at].split(b"\n")[:2]
    if random.random() < 0.2:
        code = random.choice(DXF_CODES)
    else:
        value = random.choice((random.choice(DXF_VALUES), _odd(random).encode("utf-8", "replace")))
    pairs[at] = code + b"\n" + value.replace(b"\n", b" ") + b"\n"
    return b"".join(pairs)


def json_values(data: bytes, random: Random) -> bytes:
    """A value of a JSON text replaced, left out, doubled or exchanged for another."""
    try:
        tree = json.loads(data)
    except (ValueError, RecursionError):
        return bytes_of_any_kind(data, random)
    spots: list[tuple[Any, Any]] = []
    todo = [tree]
    while todo:
        node = todo.pop()
        inside = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
        for key, value in inside:
            spots.append((node, key))
            todo.append(value)
    if not spots:
        return json.dumps(random.choice(ODD_JSON)).encode()
    (node, key), (other, its) = random.choice(spots), random.choice(spots)
    match random.randrange(7):
        case 0:
            del node[key]
        case 1 if isinstance(node, list):
            node.insert(key, node[key])
        case 2:
            node[key] = json.loads(json.dumps(other[its]))
        case 3 if isinstance(node[key], int | float) and not isinstance(node[key], bool):
            step = random.choice((-1, 1, 2, 10, 1000, 1e-3, -0.5, 1e300))
            node[key] = node[key] + step if random.random() < 0.5 else node[key] * step
        case 4 if isinstance(node, dict):
            node[str(its)] = node.pop(key)
        case 5:
            node[key] = _odd(random)
        case _:
            node[key] = random.choice(ODD_JSON)
    return json.dumps(tree).encode("utf-8", "replace")


_KEY = re.compile(rb"(?m)^([A-Za-z_.\"#]+)\s*=\s*(.*)$")


def toml_values(data: bytes, random: Random) -> bytes:
    """A key of a build file given another value or name, or a table moved about."""
    found = list(_KEY.finditer(data))
    if not found or random.random() < 0.2:
        return lines(data, random)
    spot = random.choice(found)
    key, value = spot[1], spot[2]
    match random.randrange(5):
        case 0:
            key = random.choice(found)[1]
        case 1:
            value = random.choice(found)[2]
        case 2:
            return one_number(data, random)
        case 3:
            value = json.dumps(_odd(random)).encode()
        case _:
            value = random.choice(TOML_VALUES).encode()
    return data[: spot.start()] + key + b" = " + value + data[spot.end() :]


def csv_cells(data: bytes, random: Random) -> bytes:
    """A cell of a table replaced, put in or left out."""
    cells = re.split(rb"([,;\n])", data)
    at = _pick(random, cells)
    match random.randrange(4):
        case 0:
            cells[at] = _odd(random).encode("utf-8", "replace")
        case 1:
            cells.insert(at, random.choice((b",", b";", b"\n", b'"')))
        case 2:
            del cells[at]
        case _:
            return lines(data, random)
    return b"".join(cells)


#: What damages each format, the telling kinds oftener than the blind ones.
MUTATIONS: dict[str, tuple[Mutation, ...]] = {
    "bytes": (bytes_of_any_kind,),
    "svg": (svg_elements, svg_elements, svg_elements, one_number, bytes_of_any_kind),
    "dxf": (dxf_groups, dxf_groups, dxf_groups, one_number, bytes_of_any_kind),
    "toml": (toml_values, toml_values, toml_values, one_number, bytes_of_any_kind),
    "json": (json_values, json_values, json_values, one_number, bytes_of_any_kind),
    "csv": (csv_cells, csv_cells, one_number, bytes_of_any_kind),
}


def damaged(data: bytes, form: str, random: Random, most: int = 6) -> bytes:
    """``data`` with one to ``most`` pieces of damage; mostly with one, so that it gets far."""
    for _ in range(random.choice((1, 1, 2, 3, most))):
        data = random.choice(MUTATIONS[form])(data, random)
        if len(data) > 200_000:
            data = data[:200_000]
    return data
