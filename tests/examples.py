"""Drawn examples in two numbers: a few in every run, many among the slow tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis.strategies import SearchStrategy


def few_or_many(few: int, many: int, *drawn: SearchStrategy[Any]) -> Callable[..., Callable[[int], None]]:
    """Makes a test of a function of drawn values; each example of it takes a good part of a second."""

    def made(test: Callable[..., None]) -> Callable[[int], None]:
        @pytest.mark.parametrize("examples", [few, pytest.param(many, marks=pytest.mark.slow)])
        def run(examples: int) -> None:
            settings(max_examples=examples, deadline=None)(given(*drawn)(test))()

        run.__name__, run.__doc__, run.__module__ = test.__name__, test.__doc__, test.__module__
        return run

    return made
