"""``nestkit parts``: the parts as they would be cut."""

from __future__ import annotations

import math
import shlex
from typing import TYPE_CHECKING, Any

import typer

from nestkit.cli.for_scripts import AsJson, print_json, script_output
from nestkit.cli.planning_options import BuildFile, Scale
from nestkit.words import counted

if TYPE_CHECKING:
    from nestkit.build.model import Build


def parts(
    context: typer.Context,
    build_file: BuildFile,
    scale: Scale = None,
    as_json: AsJson = False,
) -> None:
    """Lists the parts as they would be cut: size, thickness, quantity, assembly, how cut, warnings."""
    script = script_output(context, as_json)
    from nestkit.cli.tables import bad, doubtful, show
    from nestkit.cutting.tabs import tabs_of
    from nestkit.output.line_words import line_words
    from nestkit.preparing import how_parts_are_cut, read_build, unfit_advice
    from nestkit.units import show_length, show_size

    build = read_build(build_file, scale)
    how = how_parts_are_cut(build)
    if script is not None:
        print_json(script, parts_data(build, how))
    rows = []
    for part in build.parts:
        width, height = part.shape.outline.size
        notes = [words] if (words := line_words(part.shape)) else []
        notes += [counted(part.spares, "spare")] if part.spares else []
        notes += ["mirrored pairs"] if part.mirrored_pairs else []
        notes += [counted(tabs.count, "holding tab")] if (tabs := tabs_of(build, part)) else []
        notes += [f"{len(part.findings)} to look at"] if part.findings else []
        rows.append(
            (
                part.name,
                show_size(width, height, build.unit),
                f"{part.material} {show_length(part.thickness, build.unit)}",
                str(part.copies),
                part.assembly or "-",
                how[part.name] or bad("fits no sheet"),
                doubtful(", ".join(notes)) if part.findings else ", ".join(notes),
            )
        )
    show(
        (
            ("part", "left"),
            ("size", "right"),
            ("foam", "left"),
            ("copies", "right"),
            ("assembly", "left"),
            ("cut by", "left"),
            ("holes, lines, notes", "left"),
        ),
        rows,
    )
    show_patterns(build)
    copies = sum(part.copies for part in build.parts)
    typer.echo(
        f"{counted(len(build.parts), 'part')}, {counted(copies, 'copy', 'copies')}, scale {build.scale:g}"
    )
    show_findings(build)
    for advice in unfit_advice(build, how):
        typer.echo(advice)
    typer.echo(f"Next: nestkit plan {shlex.quote(str(build_file))}")


def show_patterns(build: Build) -> None:
    """A row for each pattern: finished sizes, flat sizes, and the gap when it is folded or rolled back."""
    from nestkit.cli.tables import show
    from nestkit.units import show_gap, show_length, show_size

    owners = dict.fromkeys(part.pattern.owner for part in build.parts if part.pattern is not None)
    rows, notes = [], []
    for owner in owners:
        pieces = [part for part in build.parts if part.pattern is not None and part.pattern.owner == owner]
        info = pieces[0].pattern
        assert info is not None
        finished = [
            f"{what} {math.degrees(value):.1f} degrees"
            if angle
            else f"{what} {show_length(value, build.unit)}"
            for what, value, angle in info.finished
        ]
        flat = []
        for part in pieces:
            size = show_size(*part.shape.outline.size, build.unit)
            flat.append(size if len(pieces) == 1 else f"{part.name.removeprefix(f'{owner}-')} {size}")
        gap = "stays flat" if info.gap is None else show_gap(info.gap, build.unit)
        rows.append((owner, info.kind, ", ".join(finished), ", ".join(flat), gap))
        notes += [f"{owner}: {note}." for note in info.notes]
    if rows:
        typer.echo("")
        show(
            (
                ("pattern", "left"),
                ("kind", "left"),
                ("finished", "left"),
                ("flat", "left"),
                ("gap when closed", "right"),
            ),
            rows,
        )
        for note in notes:
            typer.echo(note)
        typer.echo("")


def parts_data(build: Build, how: dict[str, Any]) -> dict[str, Any]:
    """The table of parts and that of patterns, as data; ``how`` each part is cut, by its name."""
    from nestkit.cli.summary import build_findings
    from nestkit.cutting.tabs import tabs_of
    from nestkit.geometry import LineKind
    from nestkit.output.line_words import mark_count

    return {
        "build": build.name,
        "unit": build.unit,
        "scale": build.scale,
        "parts": [
            {
                "part": part.name,
                "width_mm": round(part.shape.outline.size[0], 4),
                "height_mm": round(part.shape.outline.size[1], 4),
                "thickness_mm": part.thickness,
                "material": part.material,
                "holes": len(part.shape.outline.holes),
                "marks": mark_count(part.shape),
                **{
                    f"{kind.value}s_deg": [
                        round(math.degrees(line.angle), 4) for line in part.shape.lines if line.kind is kind
                    ]
                    for kind in (LineKind.FOLD, LineKind.BEVEL)
                },
                "copies": part.copies,
                "spares": part.spares,
                "mirrored_pairs": part.mirrored_pairs,
                "tabs": tabs.count if (tabs := tabs_of(build, part)) else 0,
                "assembly": part.assembly,
                "cut_by": how[part.name] or None,
                "pattern": None if part.pattern is None else part.pattern.owner,
            }
            for part in build.parts
        ],
        "patterns": [
            {
                "pattern": info.owner,
                "kind": info.kind,
                "finished": [
                    {
                        "what": what,
                        "deg" if angle else "mm": round(math.degrees(value) if angle else value, 4),
                    }
                    for what, value, angle in info.finished
                ],
                "refolding_gap_mm": None if info.gap is None else round(info.gap, 4),
                "notes": list(info.notes),
            }
            for info in {p.owner: p.pattern for p in build.parts if p.pattern is not None}.values()
        ],
        "findings": build_findings(build),
    }


def show_findings(build: Build, mended: bool = True) -> None:
    """A line for each thing that was noticed; what is the same for several parts is told once.

    Without ``mended`` only what asks the maker for something is told, and the rest is counted.
    """
    from nestkit.cli.tables import doubtful, say

    told: dict[str, list[str]] = {}
    left = 0
    every = [("note", finding) for finding in build.findings]
    every += [(part.name, finding) for part in build.parts for finding in part.findings]
    for name, finding in every:
        if finding.mended and not mended:
            left += 1
        else:
            told.setdefault(str(finding), []).append(name)
    for text, names in told.items():
        say(doubtful(f"{', '.join(dict.fromkeys(names))}: "), text)
    if left:
        flaws = counted(left, "small flaw was", "small flaws were")
        again = f"nestkit parts {shlex.quote(str(build.file))}"
        typer.echo(f"{flaws} mended; listed by: {again}")
