"""``report.html``: the plan for people, one file that needs nothing else."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from nestkit import __version__
from nestkit.build.model import Build
from nestkit.build.seam_numbers import assembly_names
from nestkit.cutting.model import Job
from nestkit.nesting.model import Plan
from nestkit.output.folder import TEMPLATES_FILE
from nestkit.output.grooves import GrooveRow, groove_notes, groove_rows
from nestkit.output.palette import NO_ASSEMBLY, Swatch, assembly_swatch, css
from nestkit.output.pictures import DrawnShape, SheetPictures, part_shapes
from nestkit.output.report_files import WrittenFile, written_files
from nestkit.output.report_front import (
    Figure,
    GroupRow,
    HardwareRow,
    ShoppingRow,
    facts,
    figures,
    findings,
    glue_words,
    group_rows,
    hardware_rows,
    remarks,
    shopping,
)
from nestkit.output.report_guide import AssemblyPage, PartCard, assembly_pages, part_cards
from nestkit.output.report_labels import label_remarks
from nestkit.output.report_sheets import SheetPart, StockSheet, sheet_parts, stock_sheets
from nestkit.output.report_words import estimate_words, show_money
from nestkit.output.template_book import TemplateBook
from nestkit.output.text import plain, show_number
from nestkit.stock.materials import Caution, cautions_for

#: Motifs repeat so often along the longer side of the largest sheet.
_MOTIFS_ALONG = 60.0


@dataclass(frozen=True, slots=True)
class Look:
    """How an assembly's parts are filled: its class in the page, colours, and the motif that repeats."""

    name: str
    fill: str
    edge: str
    line: str
    motif: str
    solid: bool


@dataclass(frozen=True, slots=True)
class Report:
    """All that the page shows, in words."""

    build: str
    unit: str
    facts: tuple[str, ...]
    figures: tuple[Figure, ...]
    remarks: tuple[str, ...]
    cost: str
    placed: int
    asked: int
    left_out: tuple[tuple[str, str], ...]
    groups: tuple[GroupRow, ...]
    shopping: tuple[ShoppingRow, ...]
    hardware: tuple[HardwareRow, ...]
    glue: str
    findings: tuple[tuple[str, str], ...]
    stock_sheets: tuple[StockSheet, ...]
    groove_notes: tuple[str, ...]
    grooves: tuple[GrooveRow, ...]
    looks: tuple[Look, ...]
    motif_scale: str
    shapes: tuple[DrawnShape, ...]
    assemblies: tuple[AssemblyPage, ...]
    cards: tuple[PartCard, ...]
    by_hand: tuple[PartCard, ...]
    sheets: tuple[SheetPart, ...]
    times: str
    labels: tuple[str, ...]
    cautions: tuple[Caution, ...]
    files: tuple[WrittenFile, ...]
    version: str

    @property
    def templates(self) -> WrittenFile | None:
        """The paper templates, when there are any."""
        return next((file for file in self.files if file.name == TEMPLATES_FILE), None)


def report_bytes(
    build: Build,
    plan: Plan,
    jobs: Sequence[Job],
    names: Collection[str] = (),
    book: TemplateBook | None = None,
) -> bytes:
    """The report page.

    Parameters
    ----------
    build, plan
    jobs : sequence of Job
        In the order of the plan's sheets.
    names : collection of str
        The other files in the folder, by their place in it.
    book : TemplateBook, optional
        The templates among them.
    """
    environment = Environment(
        loader=PackageLoader("nestkit.output"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    report = report_of(build, plan, jobs, written_files(build, names, book))
    page = environment.get_template("report.html").render(report=report, data=script_data(report))
    return page.encode("utf-8")


def script_data(report: Report) -> str:
    """What the page's script reads, as JSON that can't end the element it stands in."""
    sheets = [
        {
            "sheet": sheet.index,
            "timed": sheet.on_cutter,
            "steps": [
                [step.layer, step.end, step.part, step.paths, round(step.seconds, 1)]
                for step in sheet.play.steps
            ],
        }
        for sheet in report.sheets
    ]
    text = json.dumps(sheets, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def report_of(build: Build, plan: Plan, jobs: Sequence[Job], files: tuple[WrittenFile, ...] = ()) -> Report:
    """What the report says."""
    looks = _looks(build)
    classes = {name: look.name for name, look in looks.items()}
    shapes = part_shapes(build.parts)
    cards = part_cards(build, plan, jobs, shapes, classes)
    placed = sum(len(job.sheet.placed) for job in jobs)
    hand = {each.part.name for job in jobs if job.sheet.how == "hand" for each in job.sheet.placed}
    sheets = tuple(sheet_parts(build, plan, jobs, SheetPictures(shapes), classes))
    longest = max((side for job in jobs for side in job.sheet.outline.size), default=1000.0)
    return Report(
        build=plain(build.name),
        unit=build.unit,
        facts=facts(build, plan, jobs),
        figures=figures(build, plan, jobs),
        remarks=remarks(build, plan),
        cost=show_money(sum(group.cost for group in plan.groups)),
        placed=placed,
        asked=placed + len(plan.unplaced),
        left_out=tuple((f"{plain(each.part.name)} {each.copy}", plain(each.why)) for each in plan.unplaced),
        groups=group_rows(build, plan),
        shopping=tuple(shopping(build, plan)),
        hardware=hardware_rows(build),
        glue=glue_words(build),
        findings=tuple(findings(build)),
        stock_sheets=tuple(stock_sheets(build, jobs)),
        groove_notes=groove_notes(build, jobs),
        grooves=groove_rows(build, jobs),
        looks=tuple({look.name: look for look in looks.values()}.values()),
        motif_scale=show_number(longest / _MOTIFS_ALONG / 10.0, 4),
        shapes=tuple(shapes.values()),
        assemblies=tuple(assembly_pages(build, plan, jobs, cards, classes)),
        cards=tuple(cards.values()),
        by_hand=tuple(cards[part.name] for part in build.parts if part.name in hand),
        sheets=sheets,
        times=_times(build, jobs),
        labels=label_remarks(build, jobs),
        cautions=cautions_for(build),
        files=files,
        version=__version__,
    )


def _times(build: Build, jobs: Sequence[Job]) -> str:
    """What the times are reckoned from; empty when all is cut by hand."""
    if all(job.sheet.how == "hand" for job in jobs):
        return ""
    return estimate_words(build.cutter, build.unit, any(job.etching is not None for job in jobs))


def _looks(build: Build) -> dict[str, Look]:
    """How each assembly looks, by its name; the empty name is for parts of none."""
    looks = {"": _look("none", NO_ASSEMBLY)}
    for place, name in enumerate(each for each in assembly_names(build) if each):
        looks[name] = _look(f"a{place}", assembly_swatch(place))
    return looks


def _look(name: str, swatch: Swatch) -> Look:
    return Look(name, css(swatch.fill), css(swatch.edge), css(swatch.line), swatch.motif, swatch.solid)
