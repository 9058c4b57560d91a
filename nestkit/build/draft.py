"""A build file as far as it can be used: what is wrong is set aside, so that the rest is still checked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from nestkit.build.mistakes import LISTS, Mistakes, nearest_key, place_of, untagged
from nestkit.build.pattern_tables import PATTERN_PLACEHOLDERS
from nestkit.build.places import Keys
from nestkit.build.tables import BuildFile
from nestkit.errors import InputError
from nestkit.units import Unit

#: Stand in for required keys that are missing or wrong.
_PLACEHOLDERS: dict[str, dict[str, Any]] = {
    "build": {"name": "build"},
    "cutter": {"kind": "hand"},
    "sheet": {"thickness": 1.0, "size": [1.0, 1.0]},
    "assembly": {"name": "assembly"},
    "part": {"name": "part", "from": "drawing.svg", "thickness": 1.0},
    "hardware": {"diameter": 1.0},
    "foam": {"thickness": 1.0},
}


@dataclass(frozen=True)
class Draft:
    """The tables of a build file, and which of their values stand for wrong or missing ones.

    Parameters
    ----------
    file : BuildFile
    doubtful : frozenset of Keys
        Paths whose values in `file` are not the maker's.
    """

    file: BuildFile
    doubtful: frozenset[Keys]

    def sure(self, *loc: str | int) -> bool:
        """Whether the value at ``loc`` is what the maker wrote, or a default."""
        return all(loc[:n] not in self.doubtful for n in range(1, len(loc) + 1))

    @property
    def unit(self) -> Unit:
        """The build's unit."""
        return self.file.build.units


def draft_of(data: Mapping[str, Any], mistakes: Mistakes) -> Draft:
    """Checks keys, kinds and ranges of what `tomllib` read; what is wrong goes to ``mistakes``.

    Raises
    ------
    InputError
        With the mistakes, when so much is wrong that nothing else can be looked at.
    """
    try:
        return Draft(BuildFile.model_validate(data), frozenset())
    except ValidationError as error:
        details = error.errors(include_url=False)
    # A key that was mistyped is not missing as well, and its default is not what was meant.
    meant = {_meant(detail["loc"]) for detail in details if detail["type"] == "extra_forbidden"}
    mistakes.add_errors(
        detail
        for detail in details
        if not (detail["type"] == "missing" and detail["loc"] in meant) and not _is_of_pattern(data, detail)
    )
    wrong = {_scope(place_of(detail)) for detail in details} | {_scope(untagged(loc)) for loc in meant}
    usable, doubtful = _set_aside(data, wrong)
    try:
        return Draft(BuildFile.model_validate(usable), doubtful)
    except ValidationError:
        # More was wrong than pydantic told in its first pass; what it did tell is enough to go on with.
        raise InputError(mistakes.problems()) from None


def _meant(loc: Keys) -> Keys:
    """The key that was likely meant by the unknown one at ``loc``."""
    return (*loc[:-1], nearest_key(loc) or loc[-1])


def _is_of_pattern(data: Mapping[str, Any], detail: ErrorDetails) -> bool:
    """Whether an error only follows from an unknown pattern, whose part has other keys and no drawing."""
    loc = detail["loc"]
    if len(loc) != 4 or loc[0] != "part" or loc[2] != "drawn" or "pattern" not in data["part"][loc[1]]:
        return False
    return (detail["type"] == "missing" and loc[3] == "from") or (
        detail["type"] == "extra_forbidden" and loc[3] != "pattern"
    )


def _scope(loc: Keys) -> Keys:
    """The key that is set aside for an error at ``loc``."""
    if loc[0] in LISTS:
        # An item that is no table takes its whole list along: without it, the others' numbers shift.
        return loc[:3] if len(loc) >= 3 else loc[:1]
    return loc[:3] if loc[0] == "hardware" else loc[:2]


def _set_aside(data: Mapping[str, Any], wrong: Iterable[Keys]) -> tuple[dict[str, Any], frozenset[Keys]]:
    doubtful = set(wrong)
    usable = _without((), data, doubtful)
    for section in ("build", "cutter"):
        usable.setdefault(section, {})
        usable[section] = _PLACEHOLDERS[section] | usable[section]
    for section in LISTS:
        if not usable.get(section) and section != "assembly":
            doubtful.add((section,))
            usable[section] = [{}]
        usable[section] = [_placeholders(section, item) | item for item in usable.get(section, [])]
    usable["hardware"] = {
        name: _PLACEHOLDERS["hardware"] | item for name, item in usable.get("hardware", {}).items()
    }
    return usable, frozenset(doubtful)


def _placeholders(section: str, item: Mapping[str, Any]) -> dict[str, Any]:
    usual = _PLACEHOLDERS[section]
    if section == "part" and item.get("pattern") in PATTERN_PLACEHOLDERS:
        own = PATTERN_PLACEHOLDERS[item["pattern"]]
        return {key: value for key, value in usual.items() if key != "from"} | own
    return usual


def _without(path: Keys, value: Any, doubtful: set[Keys]) -> Any:
    """A copy of ``value`` without the doubtful keys; only as deep as keys are set aside."""
    if len(path) == 3:
        return value
    if isinstance(value, Mapping):
        return {
            key: _without((*path, key), item, doubtful)
            for key, item in value.items()
            if (*path, key) not in doubtful
        }
    if isinstance(value, list):
        return [_without((*path, index), item, doubtful) for index, item in enumerate(value)]
    return value
