"""Every package that nestkit needs has a lowest version and a licence that allows what nestkit's does."""

from __future__ import annotations

import re

import pytest

from benchmarks.licences import PAGE, licence
from tests.lowest_versions import required

#: Words by which licences are known that allow what the MIT licence allows.
OPEN = re.compile(r"MIT|BSD|Apache|Python Software Foundation|PSF|Boost|BSL", re.I)


#: What nestkit needs, and what it needs for several machines.
NEEDED = {**required(), **required("cluster")}


@pytest.mark.parametrize("name", sorted(NEEDED))
def test_a_package_may_be_used_as_nestkit_is(name):
    assert OPEN.search(licence(name))


def test_what_the_page_says_is_right():
    rows = re.findall(r"^\| ([\w.-]+) \| ([\d.\w]+) \| (.+) \|$", PAGE.read_text(), re.M)
    assert {name: lowest for name, lowest, _ in rows} == NEEDED
    assert all(OPEN.search(told) for _, _, told in rows)
