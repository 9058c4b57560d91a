"""A build made ready for planning: read, refused where it can't be cut safely, with what was noticed.

Every command that reads a build file begins here, so that each refuses and notices the same things.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from nestkit.build import load_build
from nestkit.build.model import Build, CutterKind
from nestkit.cutting.etching import fold_findings, fold_problems
from nestkit.cutting.jobs import kerf_findings
from nestkit.cutting.tabs import tab_findings
from nestkit.errors import Finding, InputError
from nestkit.folds.calibrate import MOST_KERF
from nestkit.nesting.request import how_cut, would_fit_turned
from nestkit.planning import requests, spacing_of
from nestkit.stock.materials import refuse_unsafe
from nestkit.units import show_length


def read_build(build_file: Path, scale: float | None) -> Build:
    """The build, with what its material, the kerf and its folds have to say about it.

    Raises
    ------
    InputError
        With everything that is wrong.
    """
    build = load_build(build_file, scale)
    problems = refuse_unsafe(build) + fold_problems(build)
    if problems:
        raise InputError(problems)
    return with_cutting_findings(build)


def with_cutting_findings(build: Build) -> Build:
    """The build with what kerf, grooves and tabs do to its parts, gap and margin added to the findings.

    Raises
    ------
    ValueError
        When a fold can't be made; see `cutting.etching.fold_problems`.
    """
    told_of = (kerf_findings(build), fold_findings(build), tab_findings(build))
    kept = spacing_of(build)
    told = [
        Finding(
            f"{name}-below-kerf",
            f"the {name} of {show_length(asked, build.unit)} is too small for the kerf; "
            f"{show_length(wanted, build.unit)} is kept",
            mended=True,
            file=build.file.name,
        )
        for name, asked, wanted in (
            ("gap", build.gap, kept.gap),
            ("margin", build.margin, kept.margin),
        )
        if wanted > asked
    ]
    wide = max([build.cutter.kerf, *(foam.kerf or 0.0 for foam in build.foams)])
    if build.cutter.kind != "hand" and wide > MOST_KERF:
        told.append(
            Finding(
                "kerf-large",
                f"a kerf of {show_length(wide, build.unit)} is more than a laser or knife takes away",
                "Look at the decimal point and the unit of kerf, or measure it with: nestkit coupon",
                file=build.file.name,
            )
        )
    parts = tuple(
        replace(part, findings=sum((found.get(part.name, ()) for found in told_of), part.findings))
        for part in build.parts
    )
    return replace(build, parts=parts, findings=(*build.findings, *told))


def how_parts_are_cut(build: Build) -> dict[str, CutterKind | None]:
    """With what each part is cut, by its name; None when it fits no sheet of its thickness."""
    return {part.name: how_cut(request, part) for request in requests(build) for part in request.parts}


def unfit_advice(build: Build, how: Mapping[str, CutterKind | None]) -> list[str]:
    """What to do about parts that would be left out; ``how`` each part is cut, by its name.

    More turns are advised where they help, and nowhere else.
    """
    turned: list[str] = []
    larger: list[str] = []
    for request in requests(build):
        for part in request.parts:
            if how[part.name] is None:
                (turned if would_fit_turned(request, part) else larger).append(part.name)
    told = []
    if turned:
        told.append(
            f"{', '.join(turned)}: would be left out. Allow more turns, or list a larger sheet that thick."
        )
    if larger:
        told.append(f"{', '.join(larger)}: would be left out. List a larger sheet that thick.")
    return told
