"""The plan as a whole: every copy once, and numbers that add up."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence

import shapely
from shapely import affinity

from nestkit.checking.job_file import JobFile
from nestkit.checking.likeness import region_of
from nestkit.checking.limits import LENGTH_SHARE, PLAN_FLATNESS, SHARE, SIZE, SLACK, SPACING
from nestkit.checking.plan_entries import (
    GroupEntry,
    Key,
    ListedPart,
    PlacedCopy,
    PlanFile,
    SheetEntry,
    called,
)
from nestkit.checking.plan_file import PLAN_NAME
from nestkit.checking.spacing import blank_of
from nestkit.checking.verdict import REWRITE, Fault
from nestkit.units import Unit, show_area, show_length

#: Sums of money that differ by less are the same.
MONEY = 0.001
#: Thicknesses that differ by less are the same, mm.
SAME_THICKNESS = 0.0101


def judge_copies(
    plan: PlanFile, found: Mapping[Key, Sequence[str]], excused: frozenset[Key]
) -> Iterator[Fault]:
    """Every copy of the part list once, in the plan and in the files.

    Parameters
    ----------
    plan : PlanFile
    found : mapping of (part, copy) to file names
        Where outlines of that copy were found.
    excused : frozenset of (part, copy)
        Copies of which a fault says already why their outline was not found.
    """
    homes: dict[Key, list[SheetEntry]] = defaultdict(list)
    for sheet in plan.sheets:
        for placed in sheet.placed:
            homes[placed.key].append(sheet)
            if not plan.knows(placed.key):
                code = "unknown-copy" if placed.part in plan.parts else "unknown-part"
                yield _plan_fault(code, f"{sheet.job} holds what the part list does not have", *placed.key)
    left_out = Counter((left.part, left.copy) for left in plan.left_out)
    for key in left_out:
        if not plan.knows(key):
            yield _plan_fault("unknown-copy", "the plan leaves out what the part list does not have", *key)
    for part in plan.parts.values():
        for copy in range(1, part.copies + 1):
            key = (part.name, copy)
            yield from _judge_copy(key, homes.get(key, []), left_out[key], found.get(key, ()), key in excused)
    yield from _left_out(plan)


def _judge_copy(
    key: Key, homes: Sequence[SheetEntry], left_out: int, files: Sequence[str], excused: bool
) -> Iterator[Fault]:
    times = len(homes) + left_out
    if times == 0:
        yield _plan_fault("missing", "the copy lies on no sheet and is not listed as left out", *key)
    elif times > 1:
        yield _plan_fault("doubled", f"the plan has the copy {times} times", *key)
    elif left_out and files:
        yield Fault("left-out-cut", files[0], *key, text="the copy is cut, though the plan leaves it out")
    elif homes and not files and not excused:
        x, y = next(placed for placed in homes[0].placed if placed.key == key).outline.mean(axis=0)
        text = "the outline is missing; it should lie about here"
        yield Fault("missing", homes[0].job, *key, (float(x), float(y)), text)
    elif homes and files:
        job = homes[0].job
        if len(set(files)) > 1:
            yield Fault(
                "doubled", files[-1], *key, text=f"the copy is cut in {', '.join(sorted(set(files)))}"
            )
        elif files[0] != job:
            yield Fault("wrong-sheet", files[0], *key, text=f"the plan has the copy in {job}")


def _left_out(plan: PlanFile) -> Iterator[Fault]:
    together: dict[tuple[str, str], list[int]] = defaultdict(list)
    for left in plan.left_out:
        together[left.part, left.why].append(left.copy)
    for (part, why), copies in together.items():
        which = f"copy {copies[0]} is" if len(copies) == 1 else f"{len(copies)} copies are"
        reason = f": {why.rstrip('.')}" if why else ""
        yield Fault("left-out", PLAN_NAME, part, None, None, f"{which} left out{reason}", todo="")


def judge_placed(plan: PlanFile) -> Iterator[Fault]:
    """Each placed copy of plan.json in itself: mirrored by the rule, right material, right outline."""
    for sheet in plan.sheets:
        for placed in sheet.placed:
            part = plan.parts.get(placed.part)
            if part is not None:
                yield from _judge_placed(sheet, placed, part, plan.unit)


def _judge_placed(sheet: SheetEntry, placed: PlacedCopy, part: ListedPart, unit: Unit) -> Iterator[Fault]:
    if placed.mirrored != part.is_mirrored(placed.copy):
        text = "the copy is mirrored and must not be" if placed.mirrored else "the copy must be mirrored"
        yield _plan_fault("mirrored", text, *placed.key)
    if sheet.material != part.material or abs(sheet.thickness - part.thickness) > SAME_THICKNESS:
        text = f"the part is of {called(part, unit)} and lies on {called(sheet, unit)} ({sheet.job})"
        yield _plan_fault("wrong-material", text, *placed.key)
    outline = region_of(placed.outline)
    holes = [region_of(ring) for ring in placed.holes]
    if outline.is_empty or any(hole.is_empty for hole in holes):
        yield _plan_fault("plan-outline", "an outline crosses itself or encloses nothing", *placed.key)
        return
    if len(holes) != part.holes:
        text = f"the outline has {len(holes)} holes, and the part list says {part.holes}"
        yield _plan_fault("plan-outline", text, *placed.key)
        return
    room = outline.buffer(PLAN_FLATNESS + SLACK)
    if not all(room.covers(hole) for hole in holes):
        yield _plan_fault("plan-outline", "a hole leaves its outline", *placed.key)
        return
    area = outline.area - sum(hole.area for hole in holes)
    round_about = outline.length + sum(hole.length for hole in holes)
    if abs(area - part.area) > (SIZE + PLAN_FLATNESS + SLACK) * round_about + 0.5:
        found, meant = show_area(area, unit), show_area(part.area, unit)
        text = f"the outline's area is {found}, and the part list says {meant}"
        yield _plan_fault("plan-outline", text, *placed.key)


def judge_length(job: JobFile, sheet: SheetEntry) -> Iterator[Fault]:
    """The cut length of a file that is right against what plan.json says."""
    length = sum(float(stroke.line.length) for stroke in job.strokes if stroke.is_cut)
    if abs(length - sheet.cut_length) > LENGTH_SHARE * length + 1.0:
        found, meant = show_length(length, job.unit), show_length(sheet.cut_length, job.unit)
        text = f"the cuts of {job.name} are {found} long, not {meant}"
        yield _plan_fault("plan-length", text)


def judge_groups(plan: PlanFile) -> Iterator[Fault]:
    """The numbers that plan.json gives for each sheet and each material and thickness."""
    for sheet in plan.sheets:
        yield from _judge_sheet(plan, sheet)
    yield from _judge_blanks(plan)
    judged: set[str] = set()
    for group in plan.groups:
        parts = [part for part in plan.parts.values() if _belongs(part, group)]
        judged.update(part.name for part in parts)
        sheets = [sheet for sheet in plan.sheets if _belongs(sheet, group)]
        for code, text in _judge_group(plan, group, parts, sheets):
            yield _plan_fault(code, f"{called(group, plan.unit)}: {text}")
    for part in plan.parts.values():
        if part.name not in judged and part.copies:
            text = f"no group counts the parts of {called(part, plan.unit)}"
            yield _plan_fault("plan-count", text, part.name)


def _belongs(one: ListedPart | SheetEntry, group: GroupEntry) -> bool:
    return one.material == group.material and abs(one.thickness - group.thickness) <= SAME_THICKNESS


def _judge_sheet(plan: PlanFile, sheet: SheetEntry) -> Iterator[Fault]:
    blank = blank_of(sheet)
    if sheet.how not in (plan.cutter, "hand") and not sheet.kept:
        text = f"{sheet.job} is for a {sheet.how}, and the cutter is a {plan.cutter}"
        yield _plan_fault("plan-count", text)
    if blank.is_empty:
        return
    area = sum(plan.parts[placed.part].area for placed in sheet.placed if placed.part in plan.parts)
    fill = area / blank.area
    if abs(fill - sheet.fill) > SHARE:
        yield _plan_fault("plan-share", f"{sheet.job} is {fill:.1%} full, not {sheet.fill:.1%}")


def _judge_group(
    plan: PlanFile, group: GroupEntry, parts: Sequence[ListedPart], sheets: Sequence[SheetEntry]
) -> Iterator[tuple[str, str]]:
    copies = sum(part.copies for part in parts)
    if copies != group.parts:
        yield "plan-count", f"the part list has {copies} copies, and plan.json says {group.parts}"
    bought = {(sheet.stock, sheet.stock_number) for sheet in sheets if sheet.bought}
    in_shop = {(sheet.stock, sheet.stock_number) for sheet in sheets if not sheet.bought}
    # What was cut before this plan is used, and need not be bought or taken any more.
    cut_before = {(sheet.stock, sheet.stock_number) for sheet in sheets if sheet.kept}
    used = len(bought | in_shop)
    if used != group.sheets_used:
        yield "plan-count", f"{used} sheets are used, and plan.json says {group.sheets_used}"
    if bought & in_shop:
        yield "plan-count", f"{sorted(bought & in_shop)[0][0]} is both bought and in the shop"
    for what, given, sheets_there in (
        ("to buy", group.to_buy, bought),
        ("from the shop", group.from_shop, in_shop),
    ):
        said: Counter[str] = Counter()
        for stock, count in given:
            said[stock] += count
        if what == "to buy":
            # Those of a pack that nothing is cut from.
            for stock, count in group.unused:
                said[stock] -= count
        counted = Counter(stock for stock, _ in sheets_there - cut_before)
        for stock in sorted(set(said) | set(counted)):
            if said[stock] != counted[stock]:
                text = f"{counted[stock]} of {stock} are {what}, and plan.json says {said[stock]}"
                yield "plan-count", text
    yield from _judge_bounds(plan, group, parts, sheets)


def _judge_bounds(
    plan: PlanFile, group: GroupEntry, parts: Sequence[ListedPart], sheets: Sequence[SheetEntry]
) -> Iterator[tuple[str, str]]:
    names = {part.name for part in parts}
    left_out = sum(left.part in names for left in plan.left_out)
    if group.sheets_used < group.sheets_at_least and not left_out:
        text = f"{group.sheets_used} sheets are used, and {group.sheets_at_least} are said to be needed"
        yield "plan-bound", text
    if group.cost < group.cost_at_least - MONEY and not left_out:
        text = f"the cost is {group.cost:.2f}, and {group.cost_at_least:.2f} is said to be the least"
        yield "plan-bound", text
    if group.proven and group.cost > group.cost_at_least + MONEY:
        yield "plan-bound", "plan.json says that nothing cheaper exists, and gives a lower bound for the cost"
    if group.proven and (group.sheets_used != group.sheets_at_least or left_out):
        yield "plan-bound", "plan.json says that it is proven, and it is not"
    area = sum(
        plan.parts[placed.part].area
        for sheet in sheets
        for placed in sheet.placed
        if placed.part in plan.parts
    )
    stock = sum(blank_of(sheet).area for sheet in sheets)
    if stock > 0.0:
        waste = 1.0 - area / stock
        whole = all(sheet.blank_origin is None for sheet in sheets)
        # Of a blank the sheet around it is unknown here, so that the waste can only be more.
        if group.waste < waste - SHARE or group.waste > (waste if whole else 1.0) + SHARE:
            least = "" if whole else "at least "
            yield "plan-share", f"the waste is {least}{waste:.1%}, and plan.json says {group.waste:.1%}"


def _judge_blanks(plan: PlanFile) -> Iterator[Fault]:
    """Blanks of one sheet must not overlap on it."""
    together: dict[tuple[str, float, str, int], list[SheetEntry]] = defaultdict(list)
    for sheet in plan.sheets:
        together[*sheet.group, sheet.stock, sheet.stock_number].append(sheet)
    for (_, _, stock, number), several in together.items():
        regions = []
        for sheet in several:
            blank = affinity.translate(blank_of(sheet), *(sheet.blank_origin or (0.0, 0.0)))
            regions.append(blank.buffer(-SPACING))
        first, second = shapely.STRtree(regions).query(regions, predicate="intersects")
        for one, other in sorted(zip(first.tolist(), second.tolist(), strict=True)):
            if one < other:
                text = (
                    f"the blanks of {several[one].job} and {several[other].job} overlap on {stock} {number}"
                )
                yield _plan_fault("blanks", text)


def _plan_fault(code: str, text: str, part: str = "", copy: int | None = None) -> Fault:
    return Fault(code, PLAN_NAME, part, copy, None, text, REWRITE)
