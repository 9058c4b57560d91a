"""A short slice of `benchmarks/soak.py`: random builds from files to verdict, and spoilt files are found."""

from __future__ import annotations

from benchmarks.soak import soak


def test_random_builds_are_planned_right_and_spoilt_files_found():
    found = soak(builds=4, seed=9, rounds=1)
    assert found.wrong == []
    assert found.builds == 4
    assert found.right == found.spoilt == found.found == 4 - found.refused
    assert found.refused <= 2
