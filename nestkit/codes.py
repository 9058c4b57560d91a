"""Every finding's code and what it means; ``python -m nestkit.codes`` writes the guide's page of codes.

What makes findings need not know this table; a test reads their codes out of the source and compares.
"""

from __future__ import annotations

from pathlib import Path

from nestkit.checking import CODES

#: Codes of `nestkit.errors.Finding`, by what they are about. Scripts may rely on them.
FINDINGS: dict[str, dict[str, str]] = {
    "Drawings, as files": {
        "unit-missing": "the drawing does not say how long its unit is",
        "unit-pixels": "an SVG's size is in pixels; they are read as 96 to the inch",
        "unit-mixed": "an SVG without viewBox: its page is in one unit, its coordinates are in another",
        "unit-ambiguous": "the same, and a row of `[drawing_units]` settles it",
        "bad-view": "an SVG's size or viewBox can't be read, and is not used",
        "file-damaged": "a DXF is damaged; what could be saved was read",
        "css-skipped": "a style rule is not understood and left out",
        "external-reference": "something lies in another file, which is not opened",
        "hidden-lines": "what the drawing hides is left out",
        "hidden-layer": "what is on a layer that is off or frozen is left out",
        "hidden-entity": "what is invisible is left out",
        "unpainted": "what has neither stroke nor fill is left out",
    },
    "Drawings, what can't be read": {
        "text-not-paths": "text is left out until it is converted to paths",
        "not-a-line": "what is neither line nor curve is left out",
        "not-flat": "what does not lie in the plane of the drawing is left out",
        "image-skipped": "an image is left out",
        "foreign-skipped": "what is not SVG inside an SVG is left out",
        "damaged-entity": "a damaged entity is left out",
        "path-data": "a path is read up to a mistake only",
        "bad-value": "a number can't be read, and what it belongs to is left out",
        "bad-transform": "a transform can't be read, and what it belongs to is left out",
        "absurd-size": "coordinates are no numbers, or lie more than 10 km away",
        "clip-ignored": "what is cut off by a clip or a mask is read whole",
        "missing-reference": "a copy is of something that is not there",
        "cyclic-use": "a copy holds itself, and is left out",
        "deep-use": "copies of copies are nested too deeply",
        "block-missing": "a block that is inserted is not in the file",
        "block-cycle": "a block holds itself, and is left out",
        "block-too-deep": "blocks are nested too deeply",
    },
    "Outlines": {
        "open-outline": "an outline is open, and by how much",
        "branching-outline": "several cut lines meet in one point; which belong together is not certain",
        "crossing-outline": "an outline crosses itself or another, and where",
        "touching-outline": "an outline or hole touches itself or another; it is taken apart, or united",
        "gap-closed": "a small gap in an outline was closed",
        "doubled-line": "a line is drawn twice; it is cut once",
        "zero-length": "a line without any length was dropped",
        "tiny-sliver": "a line that is too small or too thin to cut was dropped",
        "flat-loop": "a line goes there and back; it is read as one",
        "size-doubtful": "a part's finished size is so large or small that its unit may be wrong",
    },
    "Folds, bevels and marks": {
        "fold-angle-missing": "a layer or group of folds names no angle; its lines are marks",
        "fold-angle-wrong": "a layer or group of folds names an angle that can't be; its lines are marks",
        "stray-line": "a mark, fold or bevel lies on no part",
        "fold-short": "a fold ends before the edge, and the foam between stays whole",
        "fold-tight": "a fold curves more tightly than foam can close",
        "groove-narrow": "a groove is narrower than the cutter's spot and comes out wider",
        "groove-lines": "lines at this pitch are too coarse for a groove, which gets more or less than its V",
        "grooves-overlap": "two grooves overlap, so that nothing is left between them",
    },
    "The build": {
        "unused-row": "a row of `[lines]` or `[drawing_units]` concerns nothing that is drawn",
        "sheet-unavailable": "a sheet is neither in the shop nor to be bought",
        "sheet-thick": "a sheet is thicker than foam sheet is sold; its unit may be wrong",
    },
    "Cutting": {
        "gap-below-kerf": "the gap is too small for the kerf, and more is kept",
        "margin-below-kerf": "the margin is too small for the kerf, and more is kept",
        "kerf-large": "the kerf is more than a laser or knife takes away",
        "slot-closed": "a slot is too narrow at its mouth for the cutter",
        "hole-vanished": "a hole is no wider than the kerf and can't be cut",
        "hole-split": "a hole is narrower than the kerf in places and is cut as several",
        "no-room-for-tabs": "a part has no room for its holding tabs",
        "tabs-by-hand": "a part that is cut by hand gets no holding tabs",
    },
    "Sheets that are cut already (`--keep`)": {
        "kept-gone": "what is cut is a part that the build no longer has",
        "kept-surplus": "more is cut than the build asks for",
        "kept-changed": "what is cut has changed since, and is planned anew",
    },
}

_HEAD = """\
# Codes: what is noticed, and what the check finds

For scripts: what `--json` and `plan.json` call a code. Codes stay; the words beside them may become better.
This page is written by `python -m nestkit.codes`.

## Noticed in drawings and builds

These don't stop the work: what is meant is mended or left out, and told. Whatever stops it is told with file
and place, has no code, and ends with exit code 2.
"""


def guide_page() -> str:
    """The guide's page in Markdown."""
    parts = [_HEAD]
    parts += [f"### {title}\n\n{_table(codes)}" for title, codes in FINDINGS.items()]
    parts.append(f"## Faults that `nestkit check` finds\n\n{_table(CODES)}")
    return "\n".join(parts)


def _table(codes: dict[str, str]) -> str:
    rows = [f"| `{code}` | {meaning} |\n" for code, meaning in codes.items()]
    return "".join(["| code | meaning |\n|---|---|\n", *rows])


if __name__ == "__main__":
    (Path(__file__).parent / "guide" / "codes.md").write_text(guide_page(), encoding="utf-8")
