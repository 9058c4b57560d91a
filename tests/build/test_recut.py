"""A build with only some of its copies."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path as FilePath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.build.model import Assembly, Build, Cutter, Hardware, Part, Sheet
from nestkit.build.recut import Wanted, only, read_wanted
from nestkit.checking import check_folder
from nestkit.errors import InputError
from nestkit.geometry import Outline, Path, Shape
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from tests.zoo import L_SHAPE, rectangle


def build_of(*parts: Part) -> Build:
    return Build(
        "Crab", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, Cutter(bed=(600, 400), kerf=0.2),
        (Sheet("eva 6 mm", "eva", 6.0, (600, 400), 4.0),),
        (Assembly("shell", 1), Assembly("legs", 2)), parts, hardware=(Hardware("rod", 8.0),),
    )  # fmt: skip


CLAW = Part("claw", Shape(Outline(L_SHAPE)), "eva", 6.0, copies=6, spares=2, mirrored_pairs=True)
PLATE = Part("plate", Shape(rectangle(90, 60)), "eva", 6.0, copies=3, assembly="shell")


def parts_of(build: Build) -> list[tuple[str, int, bool]]:
    return [(part.name, part.copies, part.mirrored_pairs) for part in build.parts]


def test_what_is_typed() -> None:
    assert read_wanted("claw=2, left fin,wing#4") == (
        Wanted("claw", 2),
        Wanted("left fin"),
        Wanted("wing", 1, 4),
    )
    assert read_wanted("a=b=2") == (Wanted("a=b", 2),)


@pytest.mark.parametrize("text", ["", "claw=2,", ",", "claw=0", "claw#0"])
def test_what_is_not_understood(text: str) -> None:
    with pytest.raises(ValueError, match=r"no list of parts|asks for none"):
        read_wanted(text)


def test_only_these_copies_remain_without_spares_and_hardware() -> None:
    recut = only(build_of(CLAW, PLATE), [Wanted("plate", 2)])
    assert parts_of(recut) == [("plate", 2, False)]
    assert recut.parts[0].spares == 0
    assert (recut.hardware, [each.name for each in recut.assemblies]) == ((), ["shell"])


def test_mirrored_copies_stay_mirrored() -> None:
    build = build_of(CLAW, PLATE)
    assert parts_of(only(build, [Wanted("claw", 4)])) == [("claw", 4, True)]
    assert parts_of(only(build, [Wanted("claw", 3)])) == [("claw", 2, False), ("claw-mirrored", 1, False)]
    assert parts_of(only(build, [Wanted("claw", 1, 3)])) == [("claw", 1, False)]
    (part,) = only(build, [Wanted("claw", 1, 4)]).parts
    assert (part.name, part.copies) == ("claw-mirrored", 1)
    # The L's cut-out corner is at the upper right; turned over it is at the upper left.
    corner = Outline(Path.polyline([(1, 99), (1, 61), (79, 61), (79, 99)], True)).polygon()
    assert not part.shape.outline.polygon().intersects(corner)
    assert part.shape.outline.area == CLAW.shape.outline.area


def test_what_the_build_has_not_is_told_all_at_once() -> None:
    build = build_of(CLAW, PLATE)
    with pytest.raises(InputError) as told:
        only(build, [Wanted("clow"), Wanted("plate", 1, 4), Wanted("plate")])
    assert [str(problem) for problem in told.value.problems] == [
        "build.toml: part 'clow': there is no such part. Did you mean 'claw'?",
        "build.toml: part 'plate': has no copy 4. It has 3.",
    ]


@given(st.lists(st.tuples(st.sampled_from([CLAW, PLATE]), st.integers(1, 6)), min_size=1, max_size=5))
def test_as_many_of_each_side_as_were_asked_for(copies: list[tuple[Part, int]]) -> None:
    copies = [(part, min(copy, part.copies)) for part, copy in copies]
    recut = only(build_of(CLAW, PLATE), [Wanted(part.name, 1, copy) for part, copy in copies])
    for part in (CLAW, PLATE):
        for mirrored in (False, True):
            asked = sum(each is part and each.is_mirrored(copy) == mirrored for each, copy in copies)
            made = 0
            for one in recut.parts:
                if one.name == part.name:
                    made += sum(one.is_mirrored(copy) == mirrored for copy in range(1, one.copies + 1))
                elif one.name == f"{part.name}-mirrored" and mirrored:
                    made += one.copies
            assert made == asked


def test_a_recut_is_planned_and_passes_the_check(tmp_path: FilePath) -> None:
    recut = only(build_of(CLAW, replace(PLATE, copies=9)), [Wanted("claw", 3), Wanted("plate")])
    planned = make_plan(recut, Effort(rounds=2))
    write_plan(recut, planned.plan, planned.jobs, tmp_path / "out")
    assert check_folder(tmp_path / "out").ok
    assert sum(len(sheet.placed) for sheet in planned.plan.sheets) == 4
