"""The report's assembly guide: what each assembly is made of, its folds, what is glued to what, and when."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from nestkit.build.model import Build, Part
from nestkit.build.pattern_info import SeamInfo
from nestkit.cutting.model import Job
from nestkit.nesting.model import Plan
from nestkit.nesting.request import why_by_hand
from nestkit.output.gluing import NO_ASSEMBLY_NAME, glue_order, seam_words
from nestkit.output.line_words import fold_words
from nestkit.output.lists import cut_order
from nestkit.output.pictures import DrawnShape
from nestkit.output.text import plain, show_number
from nestkit.units import Unit, show_length, show_size
from nestkit.words import counted


@dataclass(frozen=True, slots=True)
class SeamRow:
    """A seam with its number in the whole report."""

    number: int
    what: str
    size: str


@dataclass(frozen=True, slots=True)
class PartCard:
    """A part with its picture: everything that is known of it in words."""

    name: str
    number: int
    shape: DrawnShape
    look: str
    assembly: str
    count: str
    size: str
    foam: str
    how: str
    hand: str
    places: tuple[tuple[int, str], ...]
    facts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AssemblyPage:
    """An assembly: its parts, its seams, and the sheet after which gluing can start."""

    name: str
    look: str
    copies: int
    ready: str
    after: int | None
    cards: tuple[PartCard, ...]
    seams: tuple[SeamRow, ...]
    notes: tuple[str, ...]


def part_cards(
    build: Build, plan: Plan, jobs: Sequence[Job], shapes: Mapping[str, DrawnShape], looks: Mapping[str, str]
) -> dict[str, PartCard]:
    """A card for each part, by its name."""
    places: dict[str, dict[int, list[int]]] = {part.name: {} for part in build.parts}
    how: dict[str, dict[str, None]] = {part.name: {} for part in build.parts}
    for job in jobs:
        for number, placed in enumerate(cut_order(job), start=1):
            places[placed.part.name].setdefault(job.sheet.index, []).append(number)
            how[placed.part.name][job.sheet.how] = None
    left_out = Counter(left.part.name for left in plan.unplaced)
    return {
        part.name: PartCard(
            name=plain(part.name),
            number=build.number_in_list(part),
            shape=shapes[part.name],
            look=looks[part.assembly],
            assembly=plain(part.assembly),
            count=_count(part),
            size=show_size(*part.shape.outline.size, build.unit),
            foam=f"{plain(part.material)} {show_length(part.thickness, build.unit)}",
            how=" and ".join(how[part.name]) or "left out",
            hand=why_by_hand(build.cutter.kind, part) if "hand" in how[part.name] else "",
            places=tuple(
                (sheet, ", ".join(map(str, numbers))) for sheet, numbers in places[part.name].items()
            ),
            facts=tuple(_facts(part, left_out[part.name], build.unit)),
        )
        for part in build.parts
    }


def assembly_pages(
    build: Build, plan: Plan, jobs: Sequence[Job], cards: Mapping[str, PartCard], looks: Mapping[str, str]
) -> Iterable[AssemblyPage]:
    """A page for each assembly, in the order in which they are glued."""
    for each in glue_order(build, plan, jobs):
        yield AssemblyPage(
            name=plain(each.name) or NO_ASSEMBLY_NAME,
            look=looks[each.name],
            copies=each.copies,
            ready=each.ready,
            after=None if each.missing else each.after,
            cards=tuple(cards[part.name] for part in each.parts),
            seams=tuple(
                SeamRow(number, plain(seam_words(seam)), _seam_size(seam, build.unit))
                for number, seam in each.seams
            ),
            notes=tuple(plain(f"{info.owner}: {note}.") for info in each.patterns for note in info.notes),
        )


def _count(part: Part) -> str:
    """How many the prop needs, and spares: ``3 + 1 spare``."""
    needed = str(part.copies - part.spares)
    return f"{needed} + {counted(part.spares, 'spare')}" if part.spares else needed


def _facts(part: Part, left_out: int, unit: Unit) -> Iterable[str]:
    """Mirrored copies, folds and bevels, and the finished sizes of a pattern."""
    if left_out:
        yield f"{counted(left_out, 'copy', 'copies')} left out"
    if part.mirrored_pairs:
        yield "every second copy is mirrored"
    if folds := fold_words(part.shape):
        yield folds
    if part.pattern is not None and part.name in (part.pattern.owner, _first_piece(part)):
        sizes = [
            f"{what} {f'{math.degrees(value):.1f}°' if is_angle else show_length(value, unit)}"
            for what, value, is_angle in part.pattern.finished
        ]
        if sizes:
            yield f"finished: {', '.join(sizes)}"


def _first_piece(part: Part) -> str:
    """The piece that carries the finished sizes of a pattern of several pieces."""
    seams = () if part.pattern is None else part.pattern.seams
    return seams[0].first if seams else part.owner


def _seam_size(seam: SeamInfo, unit: Unit) -> str:
    length = show_length(seam.length, unit)
    size = length if seam.count == 1 else f"{seam.count} x {length}"
    return size if seam.angle is None else f"{size}, at {show_number(math.degrees(seam.angle), 1)}°"
