"""The parts of a build at a scale: drawings read, pieces taken out of them, sizes checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from nestkit.build.convert import turns_of
from nestkit.build.crosscheck import find_sheet
from nestkit.build.draft import Draft
from nestkit.build.mistakes import Mistakes
from nestkit.build.model import Part, Sheet
from nestkit.build.sources import Piece, Sources
from nestkit.errors import Finding
from nestkit.geometry import FLATNESS, Shape
from nestkit.units import Unit, mm_per, show_length, show_size

#: A part with a side outside these is asked about, mm.
SMALLEST_SIDE = 1.0
LARGEST_SIDE = 10_000.0
#: A part with a larger side is refused, mm.
REFUSED_SIDE = 1_000_000.0

#: Smallest and largest scale.
SCALES = (0.001, 1000.0)


@dataclass(frozen=True)
class Made:
    """The parts at a scale, and what was noticed that belongs to no single part."""

    scale: float
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]


def make_parts(
    draft: Draft, sheets: Sequence[Sheet], folder: Path, scale: float | None, mistakes: Mistakes
) -> Made:
    """Reads the drawings and makes the parts, as far as the build file can be used.

    Each drawing is read once, but for the one that a finished length refers to: it is measured first.

    Parameters
    ----------
    draft : Draft
    sheets : sequence of Sheet
        As `convert.sheets_of` makes them.
    folder : pathlib.Path
        Where the build file is.
    scale : float, optional
        In place of the build file's.
    mistakes : Mistakes
        Takes what is wrong with the drawings or with what is asked of them.
    """
    if not draft.sure("part"):
        return Made(1.0, (), ())
    sources = Sources(draft, folder, mistakes)
    reference = _reference(draft) if scale is None else None
    if scale is None:
        scale = draft.file.build.scale
    if reference is not None and (piece := sources.piece(reference, FLATNESS)) is not None:
        # A hair finer than that, because the second measure may come out a hair larger.
        scale = _finished_scale(draft, piece, mistakes) * 1.001
    pieces = [sources.piece(index, FLATNESS / scale) for index in range(len(draft.file.part))]
    if reference is not None and (piece := pieces[reference]) is not None:
        scale = _finished_scale(draft, piece, mistakes)
    parts = []
    for index, piece in enumerate(pieces):
        sheet = find_sheet(draft, index, sheets, mistakes)
        if piece is None or not _can_be_scaled(index, piece, scale, draft.unit, mistakes) or sheet is None:
            continue
        parts.append(_part(draft, index, piece, scale, sheet))
    return Made(scale, tuple(parts), (*sources.findings(), *_unavailable(sheets)))


def _reference(draft: Draft) -> int | None:
    """Which part the build's finished length is of; None when a scale is given or the part isn't there."""
    finished = draft.file.build.finished
    names = [part.name for part in draft.file.part]
    if finished is None or finished.part not in names:
        return None
    return names.index(finished.part)


def _finished_scale(draft: Draft, piece: Piece, mistakes: Mistakes) -> float:
    """The scale that gives the reference part its finished length."""
    finished = draft.file.build.finished
    assert finished is not None
    drawn = max(piece.shape.outline.size)
    scale = finished.length * mm_per(draft.unit) / drawn
    if SCALES[0] <= scale <= SCALES[1]:
        return scale
    mistakes.add(
        ("build", "finished", "length"),
        f"the part is {show_length(drawn, draft.unit)} long as drawn and would be scaled by {scale:.3g}",
        f"A scale lies between {SCALES[0]:g} and {SCALES[1]:g}; check the drawing's unit",
    )
    return 1.0


def _can_be_scaled(index: int, piece: Piece, scale: float, unit: Unit, mistakes: Mistakes) -> bool:
    width, height = (side * scale for side in piece.shape.outline.size)
    if max(width, height) <= REFUSED_SIDE:
        return True
    mistakes.add(
        ("part", index, "from"),
        f"it would be {show_size(width, height, unit)}; the most is {show_length(REFUSED_SIDE, unit)}",
        "Check the drawing's unit and the scale",
    )
    return False


def _part(draft: Draft, index: int, piece: Piece, scale: float, sheet: Sheet) -> Part:
    table = draft.file.part[index]
    shape = piece.shape.scaled(scale).at_origin()
    return Part(
        name=table.name,
        shape=shape,
        material=sheet.material,
        thickness=sheet.thickness,
        copies=table.quantity + table.spares,
        spares=table.spares,
        mirrored_pairs=table.mirrored_pairs,
        turns=turns_of(table),
        assembly=table.assembly or "",
        by_hand=table.by_hand,
        source=table.source,
        findings=(*piece.findings, *_findings(shape, table.source, draft.unit)),
    )


def _findings(shape: Shape, source: str, unit: Unit) -> list[Finding]:
    """What is to be noticed about a part at its finished size."""
    file, _, id = source.partition("#")
    found = []
    width, height = shape.outline.size
    if min(width, height) < SMALLEST_SIDE or max(width, height) > LARGEST_SIDE:
        found.append(
            Finding(
                "size-doubtful",
                f"the finished size is {show_size(width, height, unit)}",
                "Check that the drawing says the right unit, and the build's scale.",
                file=file,
                id=id,
            )
        )
    return found


def _unavailable(sheets: Sequence[Sheet]) -> list[Finding]:
    return [
        Finding(
            "sheet-unavailable",
            f"sheet '{sheet.name}' is neither in the shop nor to be bought, so that it is never used",
            "Set in_shop, or buy = true.",
        )
        for sheet in sheets
        if not sheet.in_shop and not sheet.buy
    ]
