"""The handbook: one Markdown page a topic. Every example in it is run by tests/guide."""

from __future__ import annotations

from functools import cache

__all__ = ["TOPICS", "nearest_topic", "page", "titles"]

#: In the order in which they are best read.
TOPICS = (
    "start",
    "build-file",
    "drawings",
    "patterns",
    "folds",
    "sizes",
    "offcuts",
    "output",
    "limits",
    "keys",
    "codes",
)


def page(topic: str) -> str:
    """A page's Markdown.

    Raises
    ------
    KeyError
        When there is no such topic.
    """
    from importlib.resources import files

    if topic not in TOPICS:
        raise KeyError(topic)
    return (files("nestkit.guide") / f"{topic}.md").read_text("utf-8")


@cache
def titles() -> dict[str, str]:
    """Each topic's title: the first line of its page."""
    return {topic: page(topic).splitlines()[0].removeprefix("# ") for topic in TOPICS}


def nearest_topic(word: str) -> str:
    """The topic that a mistyped word is likely to mean; empty when none is near."""
    import difflib

    return next(iter(difflib.get_close_matches(word.lower(), TOPICS, 1)), "")
