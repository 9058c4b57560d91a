"""A build with only some of its copies: what was spoiled, lost, or is needed once more."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from nestkit.build.mistakes import listed, nearest
from nestkit.build.model import Build, Part
from nestkit.errors import InputError, Problem
from nestkit.geometry.affine import MIRROR_X

_WANTED = re.compile(r"(?P<name>.+?)\s*(?:=\s*(?P<count>\d{1,4})|#\s*(?P<copy>\d{1,4}))?")


@dataclass(frozen=True, slots=True)
class Wanted:
    """So many copies of a part, or the one copy of that number."""

    part: str
    count: int = 1
    copy: int | None = None


def read_wanted(text: str) -> tuple[Wanted, ...]:
    """Parts as they are typed: ``claw=2,fin`` for two claws and a fin, ``wing#4`` for copy number 4.

    Raises
    ------
    ValueError
        When the text is anything else, with the reason.
    """
    found = []
    for word in text.split(","):
        match = _WANTED.fullmatch(word.strip())
        if match is None:
            raise ValueError(f"'{text}' is no list of parts")
        count, copy = match["count"], match["copy"]
        if 0 in (int(count or 1), int(copy or 1)):
            raise ValueError(f"'{word.strip()}' asks for none")
        found.append(Wanted(match["name"], int(count or 1), None if copy is None else int(copy)))
    return tuple(found)


def only(build: Build, wanted: Sequence[Wanted]) -> Build:
    """The build with these copies alone, numbered anew from 1, no spares, no hardware.

    Of a part that is cut in mirrored pairs a number of copies is half of each; an odd one more is not
    mirrored. A copy that is asked for by its number is mirrored if that copy is. Copies that have no
    partner become parts of their own, those that are mirrored with `-mirrored` behind their name.

    Raises
    ------
    InputError
        When the build has no such part, or no such copy.
    """
    named = {part.name: part for part in build.parts}
    problems = [problem for each in wanted if (problem := _problem(build, named, each))]
    if problems:
        raise InputError(problems)
    plain: Counter[str] = Counter()
    mirrored: Counter[str] = Counter()
    for each in wanted:
        part = named[each.part]
        copies = range(1, each.count + 1) if each.copy is None else (each.copy,)
        for copy in copies:
            (mirrored if part.is_mirrored(copy) else plain)[part.name] += 1
    found = [
        # What is cut again carries the number of what was spoiled.
        replace(one, number=build.number_in_list(part))
        for part in build.parts
        for one in _parts(part, plain[part.name], mirrored[part.name], set(named))
    ]
    used = {part.assembly for part in found}
    return replace(
        build,
        parts=tuple(found),
        assemblies=tuple(each for each in build.assemblies if each.name in used),
        hardware=(),
    )


def _problem(build: Build, named: dict[str, Part], each: Wanted) -> Problem | None:
    where = f"{build.file.name}: part '{each.part}'"
    part = named.get(each.part)
    if part is None:
        pieces = [one.name for one in build.parts if one.owner == each.part]
        if pieces:
            return Problem(where, "is a pattern of several pieces", f"Name them: {', '.join(pieces)}")
        todo = nearest(each.part, named) or f"There are: {listed(named)}"
        return Problem(where, "there is no such part", todo)
    if each.copy is not None and each.copy > part.copies:
        return Problem(where, f"has no copy {each.copy}", f"It has {part.copies}")
    return None


def _parts(part: Part, plain: int, mirrored: int, names: set[str]) -> list[Part]:
    """The part as one part, in pairs where it has as many of both, or as two."""
    # What it is glued to is not there.
    pattern = None if part.pattern is None else replace(part.pattern, seams=())
    bare = replace(part, spares=0, pattern=pattern)
    if plain == mirrored:
        return [replace(bare, copies=2 * plain)] if plain else []
    found = []
    if plain:
        found.append(replace(bare, copies=plain, mirrored_pairs=False))
    if mirrored:
        name = f"{part.name}-mirrored"
        while name in names:
            name += "-"
        # The other side up is another shape: what is drawn on it is mirrored with it.
        shape = part.shape.transformed(MIRROR_X).at_origin()
        found.append(replace(bare, name=name, shape=shape, copies=mirrored, mirrored_pairs=False))
    return found
