"""Fixtures for the tests of the build file."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.build_bench import Bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture(scope="session")
def shared_bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """For hypothesis, whose examples share one folder."""
    return Bench(tmp_path_factory.mktemp("bench"))
