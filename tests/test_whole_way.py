"""From parts to files and back: whatever build comes in, the independent judge finds nothing wrong."""

from __future__ import annotations

import math
import tempfile
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest
from hypothesis import strategies as st

from nestkit.build.model import Assembly, Build, Cutter, Part, Sheet, Turns
from nestkit.checking import check_folder
from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.nesting.problem import Spacing
from nestkit.output import write_plan
from nestkit.planning import Effort, Progress, make_plan, spacing_of
from nestkit.preparing import with_cutting_findings
from tests.examples import few_or_many
from tests.strategies import outlines, rounded_rectangles
from tests.zoo import frame, rectangle, rounded

MARK = Line(LineKind.MARK, Path(np.array([[-3, 0, 0.5], [3, 0, 0]], dtype=float), False))
TURNS = [Turns(), Turns((0.0,)), Turns((0.0, math.pi)), Turns((0.3, 1.2, 4.0))]


@st.composite
def parts(draw: st.DrawFn, number: int) -> Part:
    if draw(st.booleans()):
        outline = draw(outlines())
    else:
        width, height, radius = draw(rounded_rectangles().filter(lambda sizes: max(sizes) < 150))
        hole = Path.circle(width / 2, height / 2, min(width, height) / 5)
        outline = Outline(rounded(width, height, radius), (hole,))
        if draw(st.booleans()):
            # Dots and rivets: arcs so small that their chords matter.
            outline = Outline(Path.circle(0, 0, draw(st.floats(0.8, 3.0))))
    lines = (MARK,) if draw(st.booleans()) and outline.area > 400 and not outline.holes else ()
    return Part(
        name=f"part {number} <&\"'",
        shape=Shape(outline, lines).at_origin(),
        material="eva",
        thickness=draw(st.sampled_from([4.0, 6.0])),
        copies=draw(st.integers(1, 4)),
        mirrored_pairs=draw(st.booleans()),
        turns=draw(st.sampled_from(TURNS)),
        assembly=draw(st.sampled_from(["", "first", "second"])),
        by_hand=draw(st.integers(0, 5)) == 0,
    )


@st.composite
def builds(draw: st.DrawFn) -> Build:
    made = tuple(draw(parts(number)) for number in range(draw(st.integers(1, 4))))
    sheets = tuple(
        Sheet(f"eva {t:g} mm {w} x {h}", "eva", t, (w, h), price, in_shop, buy)
        for t in (4.0, 6.0)
        for w, h, price, in_shop, buy in [
            (400, 250, 5.0, draw(st.integers(0, 1)), True),
            (250, 250, 4.0, 1, False),
        ]
    )
    return Build(
        name="Harbour & pageant",
        file=FilePath("build.toml"),
        unit=draw(st.sampled_from(["mm", "in"])),
        scale=1.0,
        gap=draw(st.sampled_from([0.0, 1.0, 3.0])),
        margin=draw(st.sampled_from([0.0, 5.0])),
        cutter=Cutter(
            kind=draw(st.sampled_from(["laser", "laser", "knife", "hand"])),
            bed=draw(st.sampled_from([None, (600.0, 400.0), (250.0, 250.0), (260.0, 180.0), (180.0, 260.0)])),
            kerf=draw(st.sampled_from([0.0, 0.15, 0.4])),
            tabs=draw(st.integers(0, 3)),
            tabs_up_to=draw(st.sampled_from([20.0, 80.0])),
        ),
        sheets=sheets,
        assemblies=(Assembly("first", 1), Assembly("second", 2)),
        parts=made,
    )


@few_or_many(15, 25, builds())
def test_every_written_plan_passes_the_check(build):
    planned = make_plan(build, Effort(rounds=2))
    with tempfile.TemporaryDirectory() as folder:
        out = FilePath(folder) / "out"
        write_plan(build, planned.plan, planned.jobs, out)
        verdict = check_folder(out)
    left_out = {(copy.part.name, copy.copy) for copy in planned.plan.unplaced}
    assert [str(f) for f in verdict.faults if (f.part, f.copy) not in left_out] == []
    seen = [(p.part.name, p.copy) for sheet in planned.plan.sheets for p in sheet.placed]
    wanted = {(part.name, copy) for part in build.parts for copy in range(1, part.copies + 1)}
    assert len(seen) == len(set(seen))
    assert set(seen) | left_out == wanted
    assert not set(seen) & left_out


def build_of(*made: Part) -> Build:
    sheets = (Sheet("eva 6 mm 300 x 200", "eva", 6.0, (300, 200), 4.0),)
    cutter = Cutter(bed=(600, 400), kerf=0.2)
    return Build("b", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, cutter, sheets, (), made)


def test_the_gap_is_never_less_than_the_kerf_nor_the_margin_than_half_of_it():
    build = replace(build_of(), gap=0.0, margin=0.0)
    assert spacing_of(build) == Spacing(0.2, 0.1)
    assert [f.code for f in with_cutting_findings(build).findings] == ["gap-below-kerf", "margin-below-kerf"]
    assert with_cutting_findings(build_of()).findings == ()
    wide = replace(build_of(), gap=30.0, margin=30.0, cutter=Cutter(bed=(600, 400), kerf=20.0))
    assert [f.code for f in with_cutting_findings(wide).findings] == ["kerf-large"]
    assert spacing_of(replace(build, cutter=Cutter(kind="hand", kerf=0.2))) == Spacing(0.0, 0.0)


def test_a_cutter_without_a_sheet_leaves_the_part_out_and_says_so():
    lonely = Part("lonely", Shape(rectangle(20, 20)), "eva", 10.0)
    planned = make_plan(build_of(lonely, replace(lonely, name="fine", thickness=6.0)), Effort(rounds=1))
    assert [(c.part.name, c.why) for c in planned.plan.unplaced] == [
        ("lonely", "there is no sheet of its material and thickness")
    ]
    assert [group.thickness for group in planned.plan.groups] == [6.0, 10.0]


def test_what_is_cut_for_the_first_assembly_comes_first():
    small = Part("late", Shape(rectangle(280, 180)), "eva", 6.0, copies=1, assembly="")
    early = Part("early", Shape(frame(180, 20)), "eva", 6.0, copies=1, assembly="first")
    build = replace(build_of(small, early), assemblies=(Assembly("first", 1),))
    sheets = make_plan(build, Effort(rounds=1)).plan.sheets
    assert [sheet.index for sheet in sheets] == [1, 2]
    assert sheets[0].placed[0].part.name == "early"


def test_progress_and_stopping():
    told: list[Progress] = []
    build = build_of(Part("a", Shape(rectangle(90, 70)), "eva", 6.0, copies=9))
    planned = make_plan(
        build, Effort(seconds=600), asked_to_stop=lambda: len(told) >= 3, progress=told.append
    )
    assert planned.stopped
    rounds = [at for at in told if at.rounds]
    assert rounds[-1].sheets == planned.plan.groups[0].sheets_used
    assert told[-1].note.startswith("putting the cuts in order")
    assert planned.plan.unplaced == ()


def test_stopped_at_once_there_is_still_a_whole_plan():
    thin = Part("thin", Shape(rectangle(90, 70)), "eva", 4.0, copies=2)
    build = build_of(Part("a", Shape(rectangle(90, 70)), "eva", 6.0, copies=2), thin)
    build = replace(build, sheets=(*build.sheets, Sheet("eva 4 mm", "eva", 4.0, (300, 200), 3.0)))
    planned = make_plan(build, Effort(), asked_to_stop=lambda: True)
    assert planned.stopped
    assert planned.plan.unplaced == ()
    assert len(planned.plan.sheets) == 2


def test_seconds_in_all_are_kept_to_once_there_is_a_plan():
    build = build_of(Part("a", Shape(rectangle(90, 70)), "eva", 6.0, copies=9))
    assert make_plan(build, Effort(seconds=0.0)).rounds == pytest.approx(1, abs=1)
