"""The report's front page: what to buy, what it costs, how long it takes, what is certain, what to get."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from nestkit.build.model import Build, Hardware
from nestkit.cutting.model import Job, Times
from nestkit.nesting.model import Group, Plan
from nestkit.output.lists import shopping_rows, sold_as
from nestkit.output.report_words import (
    show_kerf,
    show_long,
    show_money,
    show_proof,
    show_time,
    show_weight,
    time_parts,
)
from nestkit.output.sums import foam_weight, glue_length
from nestkit.output.text import plain, show_number
from nestkit.units import show_length, show_size
from nestkit.words import counted


@dataclass(frozen=True, slots=True)
class Figure:
    """One of the large figures: what it is, the figure, and a remark."""

    label: str
    value: str
    note: str


@dataclass(frozen=True, slots=True)
class GroupRow:
    """A row of the table per thickness."""

    material: str
    thickness: str
    parts: int
    used: int
    at_least: int
    verdict: str
    waste: str
    cost: str


@dataclass(frozen=True, slots=True)
class ShoppingRow:
    """Sheets to buy or to take from the shop."""

    what: str
    sheet: str
    size: str
    thickness: str
    count: int
    price: str


@dataclass(frozen=True, slots=True)
class HardwareRow:
    """A rod, tube or ball to get, and the length to cut it to."""

    name: str
    size: str
    length: str


def figures(build: Build, plan: Plan, jobs: Sequence[Job]) -> tuple[Figure, ...]:
    """The answers that come first."""
    bought = sum(count for group in plan.groups for _, count in group.to_buy)
    taken = sum(count for group in plan.groups for _, count in group.from_shop)
    jobs = [job for job in jobs if not job.sheet.kept]
    by_hand = sum(job.sheet.how == "hand" for job in jobs)
    times = sum((job.times for job in jobs), Times())
    return (
        Figure(
            "Sheets to buy",
            str(bought),
            _sheets_note(plan, taken),
        ),
        Figure("To pay", show_money(sum(group.cost for group in plan.groups)), "for the sheets to buy"),
        Figure(
            "Cutting time",
            "by hand" if jobs and by_hand == len(jobs) else show_time(times.total),
            _time_note(len(jobs) - by_hand, by_hand, time_parts(times)),
        ),
        certainty(plan),
    )


def certainty(plan: Plan) -> Figure:
    """What is certain about the number of sheets; see `Group.proven`."""
    used = sum(group.sheets_used for group in plan.groups)
    least = sum(group.sheets_at_least for group in plan.groups)
    if plan.groups and all(group.proven for group in plan.groups):
        if all(group.at_any_price for group in plan.groups):
            return Figure("Fewer sheets?", "No", f"no plan can do with fewer than {counted(used, 'sheet')}")
        return Figure("Fewer sheets?", "No", "no plan is cheaper, and none as cheap can do with fewer")
    if least >= used and used:
        return Figure("Fewer sheets?", "No", f"all {used} are needed, and not every part has a place")
    return Figure(
        "Fewer sheets?",
        "Not ruled out",
        f"of these {used}, {least} {'is' if least == 1 else 'are'} certainly needed; a longer search "
        "(--seconds) may find fewer",
    )


def facts(build: Build, plan: Plan, jobs: Sequence[Job]) -> tuple[str, ...]:
    """Scale, cutter, spacing, weight and seams in a few words each."""
    unit, cutter = build.unit, build.cutter
    found = [f"scale {show_number(plan.scale, 4)}"]
    if cutter.kind == "hand":
        found.append("cut by hand")
    else:
        bed = "" if cutter.bed is None else f", bed {show_size(*cutter.bed, unit)}"
        found.append(f"{cutter.kind}{bed}, kerf {show_kerf(cutter.kerf, unit)}")
    found.append(f"gap {show_length(build.gap, unit)}, margin {show_length(build.margin, unit)}")
    weight = foam_weight(build, plan)
    if weight.kg:
        some = " for the foam that a density is known of" if weight.unknown else " of foam"
        found.append(f"about {show_weight(weight.kg, unit)}{some}")
    glue = glue_length(build)
    if glue:
        found.append(f"{show_long(glue, unit)} of seams to glue")
    return tuple(found)


def remarks(build: Build, plan: Plan) -> tuple[str, ...]:
    """What the figures are made of, where that isn't plain."""
    found = []
    weight = foam_weight(build, plan)
    for material, density in weight.assumed:
        found.append(
            f"The weight takes {show_number(density, 0)} kg per cubic metre for {plain(material)} (common "
            "practice, no source). Weigh a sheet and write its density into [[sheet]]."
        )
    if weight.unknown:
        found.append(
            f"No density is known of {', '.join(map(plain, weight.unknown))}: write it into [[sheet]], and "
            "the weight counts it."
        )
    if glue_length(build):
        found.append(
            "Seams are those of patterns, folds and bevels. Which plain edges of drawn parts meet, a "
            "drawing does not say, so these are not in it."
        )
    return tuple(found)


def group_rows(build: Build, plan: Plan) -> tuple[GroupRow, ...]:
    """A row for each material and thickness."""
    return tuple(_group_row(build, group) for group in plan.groups)


def _group_row(build: Build, group: Group) -> GroupRow:
    return GroupRow(
        material=plain(group.material),
        thickness=show_length(group.thickness, build.unit),
        parts=group.parts,
        used=group.sheets_used,
        at_least=group.sheets_at_least,
        verdict=show_proof(group),
        waste=f"{100 * group.waste:.0f} %",
        cost=show_money(group.cost),
    )


def shopping(build: Build, plan: Plan) -> Iterable[ShoppingRow]:
    """The sheets to get."""
    for what, sheet, count, price in shopping_rows(build, plan):
        yield ShoppingRow(
            what=what,
            sheet=plain(sold_as(what, sheet)),
            size=show_size(*sheet.size, build.unit),
            thickness=show_length(sheet.thickness, build.unit),
            count=count,
            price=show_money(price) if what == "buy" else "-",
        )


def hardware_rows(build: Build) -> tuple[HardwareRow, ...]:
    """Rods, tubes and balls of the build."""
    return tuple(_hardware_row(build, item) for item in build.hardware)


def glue_words(build: Build) -> str:
    """What glue to get, and for how long a seam; empty when the build is a single flat piece."""
    seams = glue_length(build)
    if seams:
        return f"contact cement for {show_long(seams, build.unit)} of seams (folds, bevels and patterns)"
    alone = len(build.parts) == 1 and build.parts[0].copies == 1
    return "" if alone else "contact cement for the edges that you glue"


def _hardware_row(build: Build, item: Hardware) -> HardwareRow:
    size = f"{show_length(item.diameter, build.unit)} across"
    if item.inner_diameter is not None:
        size += f", {show_length(item.inner_diameter, build.unit)} inside"
    length = "-" if item.length is None else show_length(item.length, build.unit)
    return HardwareRow(plain(item.name), size, length)


def findings(build: Build) -> Iterable[tuple[str, str]]:
    """What was noticed: of what, and in words."""
    for finding in build.findings:
        yield "build", plain(str(finding))
    for part in build.parts:
        for finding in part.findings:
            yield plain(part.name), plain(str(finding))


def _sheets_note(plan: Plan, taken: int) -> str:
    buy: Counter[str] = Counter()
    for group in plan.groups:
        buy.update(dict(group.to_buy))
    notes = [", ".join(f"{count} x {plain(name)}" for name, count in buy.items())] if buy else []
    notes.append(f"{'and ' if buy else ''}{taken} from the shop" if taken else "none lies in the shop")
    unused = sum(count for group in plan.groups for _, count in group.unused)
    if unused:
        notes.append(f"{unused} of those to buy stay whole, as they come in packs")
    return "; ".join(notes)


def _time_note(jobs: int, by_hand: int, parts: str) -> str:
    notes = [f"in {counted(jobs, 'job')} on the cutter"] if jobs else []
    if "," in parts:
        notes[-1] += f": {parts}"
    if by_hand:
        notes.append(f"{counted(by_hand, 'sheet')} cut by hand")
    return ", ".join(notes)
