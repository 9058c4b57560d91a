"""Examples in docstrings give what they say."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
WITH_EXAMPLES = sorted(
    ".".join(file.relative_to(ROOT).with_suffix("").parts)
    for file in (ROOT / "nestkit").rglob("*.py")
    if ">>>" in file.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples(name: str) -> None:
    failed, tried = doctest.testmod(import_module(name))
    assert tried > 0
    assert failed == 0


def test_there_are_examples() -> None:
    assert len(WITH_EXAMPLES) >= 8
