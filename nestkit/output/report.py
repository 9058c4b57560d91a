"""``report.html``: the plan for people, one file that needs nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from nestkit import __version__
from nestkit.build.model import Build
from nestkit.cutting.model import Job
from nestkit.nesting.model import Group, PlacedPart, Plan
from nestkit.output.grooves import GrooveRow, groove_notes, groove_rows
from nestkit.output.lists import cut_order, is_spare, shopping_rows, show_turn
from nestkit.output.palette import NO_ASSEMBLY, Swatch, assembly_swatch, css
from nestkit.output.pictures import BlankPicture, Picture, blank_picture, sheet_picture
from nestkit.output.plan_json import job_file
from nestkit.output.text import plain, show_number
from nestkit.stock.blanks import as_laid
from nestkit.stock.materials import Caution, cautions_for
from nestkit.units import Unit, mm_per, show_length, show_size

_NO_ASSEMBLY_NAME = "no assembly"


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
class CopyRow:
    """A copy in a sheet's part list."""

    number: int
    part: str
    copy: int
    assembly: str
    fill: str
    edge: str
    size: str
    notes: str


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One sheet of the report: its picture, facts and part list."""

    index: int
    title: str
    origin: str
    facts: tuple[str, ...]
    job: str
    on_cutter: bool
    picture: Picture
    aspect: str
    bar: str
    bar_share: str
    copies: tuple[CopyRow, ...]


@dataclass(frozen=True, slots=True)
class StockSheet:
    """A whole sheet from which blanks are cut."""

    title: str
    steps: tuple[str, ...]
    picture: BlankPicture


@dataclass(frozen=True, slots=True)
class AssemblyRow:
    """An assembly and the sheet after which all of it is cut."""

    name: str
    copies: int
    ready: str
    fill: str
    edge: str


@dataclass(frozen=True, slots=True)
class Report:
    """All that the page shows, in words."""

    build: str
    unit: str
    facts: tuple[str, ...]
    sheets_used: str
    verdict: str
    cost: str
    time: str
    time_note: str
    placed: int
    asked: int
    left_out: tuple[tuple[str, str], ...]
    groups: tuple[GroupRow, ...]
    shopping: tuple[ShoppingRow, ...]
    findings: tuple[tuple[str, str], ...]
    stock_sheets: tuple[StockSheet, ...]
    groove_notes: tuple[str, ...]
    grooves: tuple[GrooveRow, ...]
    assemblies: tuple[AssemblyRow, ...]
    sheets: tuple[SheetPart, ...]
    cautions: tuple[Caution, ...]
    version: str


def report_bytes(build: Build, plan: Plan, jobs: Sequence[Job]) -> bytes:
    """The report page; ``jobs`` stand in the order of the plan's sheets."""
    environment = Environment(
        loader=PackageLoader("nestkit.output"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    page = environment.get_template("report.html").render(report=report_of(build, plan, jobs))
    return page.encode("utf-8")


def report_of(build: Build, plan: Plan, jobs: Sequence[Job]) -> Report:
    """What the report says."""
    swatch = _swatches(build)
    used = sum(group.sheets_used for group in plan.groups)
    at_least = sum(group.sheets_at_least for group in plan.groups)
    placed = sum(len(job.sheet.placed) for job in jobs)
    proven = bool(plan.groups) and all(group.proven for group in plan.groups)
    by_hand = sum(job.sheet.how == "hand" for job in jobs)
    seconds = sum(job.seconds for job in jobs if job.sheet.how != "hand")
    return Report(
        build=plain(build.name),
        unit=build.unit,
        facts=_facts(build, plan),
        sheets_used=_count(used, "sheet"),
        verdict=_verdict(at_least, proven),
        cost=_money(sum(group.cost for group in plan.groups)),
        time="by hand" if jobs and by_hand == len(jobs) else show_time(seconds),
        time_note=_time_note(len(jobs) - by_hand, by_hand),
        placed=placed,
        asked=placed + len(plan.unplaced),
        left_out=tuple((f"{plain(each.part.name)} {each.copy}", plain(each.why)) for each in plan.unplaced),
        groups=tuple(_group_row(build, group) for group in plan.groups),
        shopping=tuple(_shopping(build, plan)),
        findings=tuple(_findings(build)),
        stock_sheets=tuple(_stock_sheets(build, jobs)),
        groove_notes=groove_notes(build, jobs),
        grooves=groove_rows(build, jobs),
        assemblies=tuple(_assemblies(build, plan, jobs, swatch)),
        sheets=tuple(_sheet(build, job, swatch) for job in jobs),
        cautions=cautions_for(build),
        version=__version__,
    )


def show_time(seconds: float) -> str:
    """A time as a person says it: ``50 s``, ``12 min``, ``1 h 05 min``."""
    if seconds < 59.5:
        return f"{round(seconds)} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def _facts(build: Build, plan: Plan) -> tuple[str, ...]:
    unit, cutter = build.unit, build.cutter
    facts = [f"scale {show_number(plan.scale, 4)}"]
    if cutter.kind == "hand":
        facts.append("cut by hand")
    else:
        bed = "" if cutter.bed is None else f", bed {show_size(*cutter.bed, unit)}"
        facts.append(f"{cutter.kind}{bed}, kerf {_kerf(build)}")
    facts.append(f"gap {show_length(build.gap, unit)}, margin {show_length(build.margin, unit)}")
    return tuple(facts)


def _verdict(at_least: int, proven: bool) -> str:
    """What is certain about the number of sheets; see `Group.proven`."""
    if proven:
        return "no plan can do with fewer"
    return f"at least {at_least} {'is' if at_least == 1 else 'are'} certainly needed"


def _group_row(build: Build, group: Group) -> GroupRow:
    return GroupRow(
        material=plain(group.material),
        thickness=show_length(group.thickness, build.unit),
        parts=group.parts,
        used=group.sheets_used,
        at_least=group.sheets_at_least,
        verdict=_verdict(group.sheets_at_least, group.proven),
        waste=f"{100 * group.waste:.0f} %",
        cost=_money(group.cost),
    )


def _shopping(build: Build, plan: Plan) -> Iterable[ShoppingRow]:
    for what, sheet, count, price in shopping_rows(build, plan):
        yield ShoppingRow(
            what=what,
            sheet=plain(sheet.name),
            size=show_size(*sheet.size, build.unit),
            thickness=show_length(sheet.thickness, build.unit),
            count=count,
            price=_money(price) if what == "buy" else "-",
        )


def _findings(build: Build) -> Iterable[tuple[str, str]]:
    for finding in build.findings:
        yield "build", plain(str(finding))
    for part in build.parts:
        for finding in part.findings:
            yield plain(part.name), plain(str(finding))


def _stock_sheets(build: Build, jobs: Sequence[Job]) -> Iterable[StockSheet]:
    """The sheets that blanks are cut from, each once, in the plan's order."""
    sizes = {sheet.name: as_laid(sheet.size, build.cutter.bed) for sheet in build.sheets}
    blanks = [job.sheet for job in jobs if job.sheet.blank_origin is not None]
    order = list(dict.fromkeys((blank.stock, blank.bought, blank.stock_number) for blank in blanks))
    for stock, bought, number in order:
        cut = [b for b in blanks if (b.stock, b.bought, b.stock_number) == (stock, bought, number)]
        steps = []
        for blank in cut:
            x, y = blank.blank_origin or (0.0, 0.0)
            size = show_size(*blank.outline.size, build.unit)
            left, up = show_length(x, build.unit), show_length(y, build.unit)
            steps.append(f"Sheet {blank.index}: {size}, {left} from the left and {up} from the bottom")
        yield StockSheet(
            title=f"{plain(stock)}, {_origin(bought)} {number}",
            steps=tuple(steps),
            picture=blank_picture(sizes[stock], cut),
        )


def _origin(bought: bool) -> str:
    return "bought sheet number" if bought else "shop sheet number"


def _assemblies(
    build: Build, plan: Plan, jobs: Sequence[Job], swatch: Callable[[str], Swatch]
) -> Iterable[AssemblyRow]:
    names = _assembly_names(build)
    if any(not part.assembly for part in build.parts):
        names.append("")
    for name in names:
        copies = sum(part.copies for part in build.parts if part.assembly == name)
        left = sum(each.part.assembly == name for each in plan.unplaced)
        on = [job.sheet.index for job in jobs if any(p.part.assembly == name for p in job.sheet.placed)]
        if left:
            ready = f"not complete: {_count(left, 'copy', 'copies')} left out"
        else:
            ready = f"after sheet {max(on)}" if on else "has no parts"
        colours = swatch(name)
        shown = plain(name) or _NO_ASSEMBLY_NAME
        yield AssemblyRow(shown, copies, ready, css(colours.fill), css(colours.edge))


def _assembly_names(build: Build) -> list[str]:
    """The build's assemblies in order, then those that only parts name."""
    names = [each.name for each in build.assemblies]
    return names + sorted({part.assembly for part in build.parts if part.assembly}.difference(names))


def _sheet(build: Build, job: Job, swatch: Callable[[str], Swatch]) -> SheetPart:
    sheet, unit = job.sheet, build.unit
    bar = 100.0 if unit == "mm" else 4.0 * mm_per(unit)
    if bar > sheet.outline.size[0]:
        bar /= 10.0
    size = show_size(*sheet.outline.size, unit)
    what = "whole sheet" if sheet.blank_origin is None else "blank"
    facts = [
        f"{what} {size}",
        f"{100 * sheet.fill:.0f} % becomes parts",
        f"cut {_long(job.cut_length, unit)}",
    ]
    facts.append("cut by hand" if sheet.how == "hand" else f"{sheet.how}, about {show_time(job.seconds)}")
    if job.etching is not None:
        passes = _count(job.etching.steps.count, "pass", "passes")
        facts.append(f"etched in {passes}, {show_time(job.etching.seconds)} of it")
    return SheetPart(
        index=sheet.index,
        title=f"{plain(sheet.material)}, {show_length(sheet.thickness, unit)}",
        origin=f"{'on' if sheet.blank_origin is None else 'cut from'} {plain(sheet.stock)}, "
        f"{_origin(sheet.bought)} {sheet.stock_number}",
        facts=tuple(facts),
        job=job_file(job),
        on_cutter=sheet.how != "hand",
        picture=sheet_picture(job, swatch),
        aspect=show_number(sheet.outline.size[0] / sheet.outline.size[1], 5),
        bar=show_length(bar, unit),
        bar_share=show_number(100.0 * bar / sheet.outline.size[0], 3),
        copies=tuple(
            _copy_row(build, number, placed, swatch) for number, placed in enumerate(cut_order(job), start=1)
        ),
    )


def _copy_row(build: Build, number: int, placed: PlacedPart, swatch: Callable[[str], Swatch]) -> CopyRow:
    part, colours = placed.part, swatch(placed.part.assembly)
    turn = show_turn(placed.placement.turn)
    notes = [
        f"turned {turn}°" if turn != "0" else "",
        "mirrored" if placed.placement.mirrored else "",
        "spare" if is_spare(placed) else "",
    ]
    return CopyRow(
        number=number,
        part=plain(part.name),
        copy=placed.copy,
        assembly=plain(part.assembly),
        fill=css(colours.fill),
        edge=css(colours.edge),
        size=show_size(*part.shape.outline.size, build.unit),
        notes=", ".join(filter(None, notes)),
    )


def _swatches(build: Build) -> Callable[[str], Swatch]:
    swatches = {name: assembly_swatch(place) for place, name in enumerate(_assembly_names(build))}
    return lambda name: swatches.get(name, NO_ASSEMBLY)


def _time_note(jobs: int, by_hand: int) -> str:
    notes = [f"in {_count(jobs, 'job')} on the cutter"] if jobs else []
    if by_hand:
        notes.append(f"{_count(by_hand, 'sheet')} cut by hand")
    return ", ".join(notes)


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _money(value: float) -> str:
    return f"{value:.2f}"


def _kerf(build: Build) -> str:
    """Finer than other lengths, which leave out the second digit after the point."""
    digits = 2 if build.unit == "mm" else 4
    return f"{show_number(build.cutter.kerf / mm_per(build.unit), digits)} {build.unit}"


def _long(mm: float, unit: Unit) -> str:
    """A length of many sheets: metres or feet."""
    return f"{mm / 1000.0:.1f} m" if unit == "mm" else f"{mm / (12.0 * mm_per(unit)):.0f} ft"
