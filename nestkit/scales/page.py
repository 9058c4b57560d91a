"""``scales.html``: the comparison for people, one file that needs nothing else, in the report's style."""

from __future__ import annotations

from dataclasses import dataclass

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

from nestkit import __version__
from nestkit.output.report_words import show_money
from nestkit.output.text import plain
from nestkit.scales.model import Comparison
from nestkit.scales.table import SizeRow, size_rows
from nestkit.scales.words import cliff_sentence, foam_name, largest_sentences, show_scale, size_name


@dataclass(frozen=True, slots=True)
class LargestWords:
    """A largest size in words: what it is, what stops it, and where its plan is (empty without one)."""

    title: str
    sentences: tuple[str, ...]
    plan: str


@dataclass(frozen=True, slots=True)
class Page:
    """All that the page shows, in words."""

    build: str
    facts: tuple[str, ...]
    reference: str
    foams: tuple[str, ...]
    rows: tuple[SizeRow, ...]
    missing: tuple[tuple[str, str], ...]
    cliffs: tuple[str, ...]
    all_close: bool
    largest: tuple[LargestWords, ...]
    stopped: bool
    version: str


def page_bytes(comparison: Comparison, chart: bytes | None, plans: dict[int, str]) -> bytes:
    """The page.

    Parameters
    ----------
    comparison : Comparison
    chart : bytes, optional
        The chart as SVG.
    plans : dict of int to str
        The report of each largest size's plan, by its place.
    """
    environment = Environment(
        loader=ChoiceLoader([PackageLoader("nestkit.scales"), PackageLoader("nestkit.output")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    picture = "" if chart is None else _inline(chart.decode())
    page = environment.get_template("scales.html").render(page=page_of(comparison, plans), chart=picture)
    return page.encode("utf-8")


def page_of(comparison: Comparison, plans: dict[int, str]) -> Page:
    """What the page says."""
    sizes = comparison.sizes
    facts = []
    if sizes:
        facts.append(
            f"{size_name(comparison, sizes[0].scale)} to {size_name(comparison, sizes[-1].scale)}"
            if len(sizes) > 1
            else size_name(comparison, sizes[0].scale)
        )
        costs = [size.cost for size in sizes]
        facts.append(f"{show_money(min(costs))} to {show_money(max(costs))} for sheets")
    return Page(
        build=plain(comparison.build),
        facts=tuple(facts),
        reference=plain(comparison.reference),
        foams=tuple(foam_name(comparison, key) for key in comparison.groups),
        rows=size_rows(comparison),
        missing=tuple((show_scale(gap.scale), plain(gap.why)) for gap in comparison.missing),
        cliffs=tuple(cliff_sentence(comparison, cliff) for cliff in comparison.cliffs),
        all_close=all(cliff.is_close for cliff in comparison.cliffs),
        largest=tuple(
            LargestWords(
                "What fits the shop" if each.budget is None else f"What {show_money(each.budget)} pays for",
                tuple(largest_sentences(comparison, each)),
                plans.get(place, ""),
            )
            for place, each in enumerate(comparison.largest)
        ),
        stopped=comparison.stopped,
        version=__version__,
    )


def _inline(svg: str) -> str:
    """The picture as part of the page: without its prologue, as wide as there is room."""
    return svg[svg.index("<svg") :].replace("<svg ", '<svg class="chart" role="img" aria-label="Chart" ', 1)
