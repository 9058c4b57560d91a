"""What else stands in the plan's folder, for the report: each file with what it is for."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from nestkit.build.model import Build
from nestkit.output.folder import PLAN_FILE, TEMPLATES_FILE
from nestkit.output.template_book import TemplateBook
from nestkit.output.text import plain
from nestkit.words import counted

_WHAT_FOR = {
    TEMPLATES_FILE: "templates",  # its words depend on the book
    "shopping.csv": "sheets to buy and to take from the shop, hardware with its lengths",
    "blanks.csv": "which straight cuts make blanks of the sheets, and what each blank is for",
    "blanks.svg": "the same as a sketch to print",
    "cutting.csv": "every copy in cut order, with its place and turn",
    "jobs.csv": "every bed load in order: its paths, its travel, its time and what that is made of",
    "layers.csv": "what each layer of each job does, with depths",
    "folds.csv": "every different groove with its sizes",
    "gluing.csv": "assemblies in order, after which sheet each can be glued, seams with their numbers",
    PLAN_FILE: "all of it for other programs",
}


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A file beside the report: its name and what it is for."""

    name: str
    what: str


def written_files(build: Build, names: Collection[str], book: TemplateBook | None) -> tuple[WrittenFile, ...]:
    """The files in the order that a maker needs them; job files stand in the table of jobs.

    Raises
    ------
    ValueError
        When nothing is known of a file, so that no new one goes untold.
    """
    unknown = [name for name in names if name not in _WHAT_FOR and not name.startswith("jobs/")]
    if unknown:
        raise ValueError(f"the report can't say what {unknown[0]} is for")
    return tuple(
        WrittenFile(name, template_words(build, book) if name == TEMPLATES_FILE and book else what)
        for name, what in _WHAT_FOR.items()
        if name in names
    )


def template_words(build: Build, book: TemplateBook) -> str:
    """Whose templates they are, on how many pages, and what to mind when they are printed."""
    whose = "all parts" if build.templates.which == "all" else "what is cut by hand"
    pages = f"{counted(book.pages, 'page')} of {build.templates.paper}"
    words = f"true-size templates for {whose}, {pages}; print at 100 %, not fitted to the page"
    if book.left_out:
        names = ", ".join(plain(each.part.name) for each in book.left_out)
        words += f". Too large for paper: {names}"
    return words
