"""The benchmark scripts can be loaded: what they take from the package is still there."""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent.parent / "benchmarks"
SCRIPTS = sorted(FOLDER.glob("*.py"))


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.stem)
def test_a_script_loads(script: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(FOLDER))
    monkeypatch.setattr(sys, "argv", [str(script)])
    loaded = runpy.run_path(str(script))
    assert loaded["__doc__"]
