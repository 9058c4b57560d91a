"""Whatever is fed in: read, read with findings, or one clear error; `benchmarks/fuzz.py` looks for longer."""

from __future__ import annotations

import socket
import warnings
from contextlib import suppress
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.guard import ForbiddenError, watched
from tests.fuzz.mutations import damaged
from tests.fuzz.targets import FINDINGS, READ, REFUSED, TARGETS


@pytest.fixture(scope="module")
def readers(tmp_path_factory):
    """Each reader with its seeds, made once."""
    made = {}
    for name, target in TARGETS.items():
        folder = tmp_path_factory.mktemp(name)
        made[name] = target.make(folder), target.seeds(folder), target.form
    return made


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_the_seeds_are_sound(readers, name):
    read, seeds, _ = readers[name]
    assert seeds
    # A job of the second sheet in the place of the first has findings: that is what the check is for.
    assert {read(data) for data in seeds} <= {READ, FINDINGS}
    assert READ in {read(data) for data in seeds}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", sorted(TARGETS))
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(pick=st.integers(0, 99), number=st.integers(0, 2**32))
def test_damage_gives_a_reading_findings_or_one_clear_error(readers, name, pick, number):
    read, seeds, form = readers[name]
    data = damaged(seeds[pick % len(seeds)], form, Random(number))
    assert read(data) in (READ, FINDINGS, REFUSED)


def test_damage_is_seen_by_each_reader(readers):
    """The damage reaches the readers: some of it is refused or found."""
    for name, (read, seeds, form) in readers.items():
        words = {read(damaged(seeds[0], form, Random(number))) for number in range(12)}
        assert words - {READ}, name


def knock() -> None:
    """Try to reach a port of this machine."""
    with suppress(OSError):
        socket.create_connection(("127.0.0.1", 9), 0.01)


def test_the_guard_sees_what_it_should(tmp_path):
    outside = tmp_path / "outside"
    inside = tmp_path / "inside"
    inside.mkdir()
    with watched(inside):
        (inside / "mine").write_text("x")
        (inside / "mine").unlink()
    with pytest.raises(ForbiddenError, match="outside"), watched(inside):
        outside.write_text("x")
    with pytest.raises(ForbiddenError, match="outside"), watched(inside):
        (inside / ".." / "outside").unlink()
    with pytest.raises(ForbiddenError, match="socket"), watched(inside):
        knock()
    with pytest.raises(ForbiddenError, match="warned"), watched(inside):
        warnings.warn_explicit("warned", RuntimeWarning, "nestkit/some.py", 1)
