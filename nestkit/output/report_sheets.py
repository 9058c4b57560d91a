"""The report's jobs: the list of them, each with its sheet's picture, its copies and how it is played."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from nestkit.build.model import Build
from nestkit.build.seam_numbers import assembly_names
from nestkit.cutting.model import Job
from nestkit.nesting.model import Leftover, PlacedPart, Plan
from nestkit.output.blank_list import cut_words, sheets_to_cut_up, which_sheet
from nestkit.output.gluing import NO_ASSEMBLY_NAME, ready_after
from nestkit.output.lists import cut_order, hand_note, is_spare, number_note, show_turn
from nestkit.output.pictures import BlankPicture, Picture, SheetPictures, blank_picture
from nestkit.output.plan_json import job_file
from nestkit.output.report_steps import Play, play_of
from nestkit.output.report_words import show_long, show_time, time_parts
from nestkit.output.text import plain, show_number
from nestkit.units import mm_per, show_length, show_size
from nestkit.words import counted


@dataclass(frozen=True, slots=True)
class CopyRow:
    """A copy in a sheet's part list."""

    number: int
    part: str
    copy: int
    assembly: str
    look: str
    size: str
    notes: str


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One job: its sheet's picture, facts and part list.

    ``look`` of a copy, and the second item of a row of ``legend``, is the class of an assembly in the page.
    """

    index: int
    title: str
    origin: str
    facts: tuple[str, ...]
    time: str
    how: str
    job: str
    on_cutter: bool
    ready: tuple[str, ...]
    legend: tuple[tuple[str, str], ...]
    picture: Picture
    aspect: str
    bar: str
    bar_share: str
    copies: tuple[CopyRow, ...]
    play: Play

    @property
    def passes(self) -> int:
        """How many layers are passes of grooves."""
        return sum(layer.is_pass for layer in self.play.layers)


@dataclass(frozen=True, slots=True)
class StockSheet:
    """A whole sheet from which blanks are cut, as it is laid; `cuts` in the order in which they are made."""

    title: str
    laid: str
    cuts: tuple[str, ...]
    steps: tuple[str, ...]
    picture: BlankPicture


def sheet_parts(
    build: Build, plan: Plan, jobs: Sequence[Job], pictures: SheetPictures, looks: Mapping[str, str]
) -> Iterable[SheetPart]:
    """Every job in order; ``looks`` gives an assembly's class."""
    ready = ready_after(build, plan, jobs)
    for job in jobs:
        done = tuple(plain(name) for name, index in ready.items() if name and index == job.sheet.index)
        kept = [each for each in plan.leftovers if each.sheet == job.sheet.index]
        yield _sheet(build, job, pictures, looks, done, kept)


def stock_sheets(build: Build, jobs: Sequence[Job]) -> Iterable[StockSheet]:
    """The sheets that blanks are cut from, each once, in the plan's order."""
    for each in sheets_to_cut_up(build, jobs):
        steps = []
        for blank in each.blanks:
            x, y = blank.blank_origin or (0.0, 0.0)
            size = show_size(*blank.outline.size, build.unit)
            left, up = show_length(x, build.unit), show_length(y, build.unit)
            steps.append(f"Sheet {blank.index}: {size}, {left} from the left and {up} from the bottom")
        turned = ", laid turned by a quarter" if each.turned else ""
        yield StockSheet(
            title=each.title,
            laid=f"{show_size(*each.size, build.unit)}{turned}",
            cuts=tuple(cut_words(cut, each.size, build.unit) for cut in each.cuts),
            steps=tuple(steps),
            picture=blank_picture(each.size, each.blanks, each.cuts),
        )


def _sheet(
    build: Build,
    job: Job,
    pictures: SheetPictures,
    looks: Mapping[str, str],
    ready: tuple[str, ...],
    kept: Sequence[Leftover],
) -> SheetPart:
    sheet, unit = job.sheet, build.unit
    bar = 100.0 if unit == "mm" else 4.0 * mm_per(unit)
    if bar > sheet.outline.size[0]:
        bar /= 10.0
    size = show_size(*sheet.outline.size, unit)
    odd = any(kind.name == sheet.stock and kind.outline is not None for kind in build.sheets)
    what = ("offcut" if odd else "whole sheet") if sheet.blank_origin is None else "blank"
    facts = [
        f"{what} {size}",
        f"{100 * sheet.fill:.0f} % becomes parts",
        f"cut {show_long(job.cut_length, unit)}",
    ]
    if sheet.kept:
        facts.insert(0, "cut already: don't cut it again")
    if kept:
        share = sum(each.outline.area for each in kept) / sheet.outline.area
        facts.append(f"{100 * share:.0f} % is worth keeping (dashed)")
    time = "by hand" if sheet.how == "hand" else show_time(job.seconds)
    facts.append("cut by hand" if sheet.how == "hand" else f"{sheet.how}, about {time}")
    parts = time_parts(job.times)
    if parts:
        facts.append(f"of which {parts}" if "," in parts else parts)
    if job.etching is not None:
        facts.append(f"etched in {counted(job.etching.steps.count, 'pass', 'passes')}")
    if job.tabs:
        facts.append(f"held by {counted(sum(job.tabs.values()), 'tab')} (dots): cut them through by hand")
    if sheet.how != "hand":
        least = show_long(job.least, unit)
        facts.append(f"travel {show_long(job.travel, unit)} (no order does with less than {least})")
    return SheetPart(
        index=sheet.index,
        title=f"{plain(sheet.material)}, {show_length(sheet.thickness, unit)}",
        origin=f"{'on' if sheet.blank_origin is None else 'cut from'} {which_sheet(build, sheet)}",
        facts=tuple(facts),
        time=time,
        how=sheet.how,
        job=job_file(job),
        on_cutter=sheet.how != "hand",
        ready=ready,
        legend=tuple(
            (plain(name) or NO_ASSEMBLY_NAME, looks[name])
            for name in assembly_names(build)
            if any(placed.part.assembly == name for placed in sheet.placed)
        ),
        picture=pictures.picture(job, [each.outline for each in kept]),
        aspect=show_number(sheet.outline.size[0] / sheet.outline.size[1], 5),
        bar=show_length(bar, unit),
        bar_share=show_number(100.0 * bar / sheet.outline.size[0], 3),
        copies=tuple(
            _copy_row(build, job, number, placed, looks)
            for number, placed in enumerate(cut_order(job), start=1)
        ),
        play=play_of(job, build.cutter_for(sheet.material, sheet.thickness)),
    )


def _copy_row(build: Build, job: Job, number: int, placed: PlacedPart, looks: Mapping[str, str]) -> CopyRow:
    part = placed.part
    tabs = job.tabs.get((part.name, placed.copy), 0)
    turn = show_turn(placed.placement.turn)
    notes = [
        f"turned {turn}°" if turn != "0" else "",
        "mirrored" if placed.placement.mirrored else "",
        "spare" if is_spare(placed) else "",
        counted(tabs, "tab") if tabs else "",
        hand_note(build, job.sheet, placed),
        number_note(build, job.sheet, placed, why=False),  # the report says why once, above all sheets
    ]
    return CopyRow(
        number=number,
        part=plain(part.name),
        copy=placed.copy,
        assembly=plain(part.assembly),
        look=looks[part.assembly],
        size=show_size(*part.shape.outline.size, build.unit),
        notes=", ".join(filter(None, notes)),
    )
