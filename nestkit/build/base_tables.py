"""What the tables of a build file share: kinds of values, and the keys of every part."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

#: What may not stand in a name: control characters, line separators, marks that turn the writing
#: direction, and what separates folders; names go into file names, tables and drawings.
_BARRED = r"\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufffe\uffff/\\"
NAME_PATTERN = rf"^[^\s{_BARRED}]([^{_BARRED}]*[^\s{_BARRED}])?$"
#: 60 characters are at most 240 bytes of UTF-8, which fits the 255 bytes of a DXF string.
NAME_LENGTH = 60
_FILE_PATTERN = r"^[^\x00-\x1f\x7f-\x9f]+$"

Name = Annotated[str, Field(min_length=1, max_length=NAME_LENGTH, pattern=NAME_PATTERN)]
FileName = Annotated[str, Field(min_length=1, max_length=1000, pattern=_FILE_PATTERN)]
Length = Annotated[float, Field(ge=0.001, le=100_000)]
LengthOrZero = Annotated[float, Field(ge=0, le=100_000)]
Count = Annotated[int, Field(ge=0, le=10_000)]
TabCount = Annotated[int, Field(ge=0, le=100)]
CutCount = Annotated[int, Field(ge=0, le=100)]
TabLength = Annotated[float, Field(ge=0.001, le=100)]
Degrees = Annotated[float, Field(ge=-360, le=360)]
TurnNames = Literal["any", "half", "quarter", "none"]


def _check_turns(value: Any) -> Any:
    """Stands before the union, whose own errors would be one for each of its branches."""
    if isinstance(value, str) and value in ("any", "half", "quarter", "none"):
        return value
    if isinstance(value, list) and 1 <= len(value) <= 360:
        numbers = [v for v in value if isinstance(v, int | float) and not isinstance(v, bool)]
        if len(numbers) == len(value) and all(-360 <= v <= 360 for v in numbers):
            return value
    raise PydanticCustomError("turns", "turns")


class Table(BaseModel):
    """What all tables share: no unknown keys, no guessing what a value of the wrong kind means."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class PartBase(Table):
    """What all parts share, drawn ones and patterns."""

    name: Name = Field(description="Name of the part; no two parts share one.")
    thickness: Length = Field(
        description="Thickness of the sheet it is cut from; it never scales. In the build's units."
    )
    material: Name | None = Field(
        None, description="Material of the sheet. Left out: the only material that has sheets that thick."
    )
    quantity: Annotated[int, Field(ge=1, le=10_000)] = Field(1, description="How many the prop needs.")
    spares: Count = Field(0, description="How many more to cut.")
    mirrored_pairs: bool = Field(
        False, description="Whether every second copy is mirrored; quantity is even then."
    )
    turns: Annotated[
        TurnNames | Annotated[list[Degrees], Field(min_length=1, max_length=360)],
        BeforeValidator(_check_turns),
    ] = Field(
        "any",
        description="How the part may be turned on the sheet: any, half (0, 180), quarter (0, 90, 180, 270), "
        "none (as drawn), or a list of degrees, counter-clockwise.",
    )
    assembly: Name | None = Field(None, description="Name of the assembly it is glued into.")
    by_hand: bool = Field(False, description="Whether it is cut by hand, from a paper template.")
    tabs: TabCount | None = Field(
        None,
        description="How many holding tabs its outline gets, however large it is. "
        "Left out: as [cutter] says.",
    )
    tab_length: TabLength | None = Field(
        None, description="How long each of them is. In the build's units. Left out: as [cutter] says."
    )
    label: bool | None = Field(
        None,
        description="Whether its copies carry its number. Left out: yes, but not if it is drawn with marks "
        "and without folds, for then the face under the cutter is taken for the one that shows.",
    )
