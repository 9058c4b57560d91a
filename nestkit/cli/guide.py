"""``nestkit guide``: the handbook's pages."""

from __future__ import annotations

from typing import Annotated

import typer

from nestkit.guide import TOPICS


def topics_that_begin(incomplete: str) -> list[tuple[str, str]]:
    """Topics for the shell's completion, each with its title."""
    from nestkit.guide import titles

    return [(topic, title) for topic, title in titles().items() if topic.startswith(incomplete)]


def guide(
    topic: Annotated[
        str | None,
        typer.Argument(
            metavar="[TOPIC]",
            autocompletion=topics_that_begin,
            help=f"Which page: {', '.join(TOPICS[:-1])} or {TOPICS[-1]}. Left out: what each is about.",
        ),
    ] = None,
) -> None:
    """Shows the handbook, a page for each topic; begin with: nestkit guide start."""
    from nestkit.cli.tables import console, say, show
    from nestkit.errors import InputError
    from nestkit.guide import nearest_topic, page, titles

    if topic is None:
        show((("topic", "left"), ("what it is about", "left")), list(titles().items()))
        say("Read one with: nestkit guide TOPIC")
        return
    if topic not in titles():
        like = nearest_topic(topic)
        todo = f"Did you mean '{like}'?" if like else f"There are: {', '.join(titles())}"
        raise InputError.one("guide", f"there is no topic '{topic}'", todo)
    out = console()
    if not out.is_terminal:
        typer.echo(page(topic), nl=False)
        return
    from rich.markdown import Markdown

    out.print(Markdown(page(topic)), width=min(out.width, 100))
