"""The parts of a build at a scale: drawings read, pieces taken out of them, sizes checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from nestkit.build.base_tables import PartBase
from nestkit.build.convert import USUAL_MARGIN, cutter_of, foams_of, in_mm, tab_length_of, turns_of
from nestkit.build.crosscheck import find_sheet
from nestkit.build.developed import Developed, Edge, moved_to_origin
from nestkit.build.draft import Draft
from nestkit.build.mistakes import Mistakes
from nestkit.build.model import Part, Sheet, cutter_for
from nestkit.build.pattern_info import Layers, PatternInfo, SeamInfo
from nestkit.build.pattern_tables import EdgeStripTable, PatternBase
from nestkit.build.patterns import PatternMaker
from nestkit.build.sources import Piece, Sources
from nestkit.build.tables import PartTable
from nestkit.errors import Finding
from nestkit.geometry import CURVE_FLATNESS, Shape
from nestkit.geometry.affine import MIRROR_X
from nestkit.patterns import Foam, PatternError, seams_of
from nestkit.units import Unit, mm_per, show_length, show_size

#: A part with a side outside these is asked about, mm.
SMALLEST_SIDE = 1.0
LARGEST_SIDE = 10_000.0
#: A part with a larger side is refused, mm.
REFUSED_SIDE = 1_000_000.0
#: Thicker sheets are asked about, mm.
THICKEST = 100.0

#: A build with more copies in all, or with more corners in all copies, is refused.
MOST_COPIES, MOST_CORNERS = 10_000, 1_000_000

#: Smallest and largest scale.
SCALES = (0.001, 1000.0)


@dataclass(frozen=True)
class Made:
    """The parts at a scale, and what was noticed that belongs to no single part."""

    scale: float
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]
    drawings: tuple[Path, ...] = ()


_Spot = tuple[float, float]


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
    if reference is not None and (piece := _piece(draft, sources, reference, CURVE_FLATNESS)) is not None:
        # A hair finer than that, because the second measure may come out a hair larger.
        scale = _finished_scale(draft, piece, mistakes) * 1.001
    pieces = [_piece(draft, sources, index, CURVE_FLATNESS / scale) for index in range(len(draft.file.part))]
    if reference is not None and (piece := pieces[reference]) is not None:
        scale = _finished_scale(draft, piece, mistakes)
    maker = PatternMaker(draft, sources, scale, mistakes)
    made: dict[int, tuple[Part, ...]] = {}
    edges: dict[str, Edge] = {}
    # Edge strips come last: they go round parts that may stand anywhere in the file.
    order = sorted(range(len(pieces)), key=lambda k: isinstance(draft.file.part[k], EdgeStripTable))
    for index in order:
        piece, table = pieces[index], draft.file.part[index]
        sheet = find_sheet(draft, index, sheets, mistakes)
        if isinstance(table, PatternBase):
            try:
                foam = None if sheet is None else _foam(draft, table, sheet, sheets)
            except PatternError as error:
                mistakes.add(("part", index, error.key), error.what, error.todo)
                continue
            developed = None if foam is None else maker.make(index, foam, edges)
            if developed is None or sheet is None:
                continue
            made[index] = _pattern_parts(table, developed, sheet, draft.unit)
            pattern = developed.pattern
            if pattern.kind in ("stack", "ring", "ridge"):
                # The layers of a stack have one outline; those with an opening come last.
                last = pattern.pieces[-1]
                shape = last.shape
                # A strip begins where it is seen to, from outside; a ridge is cut mirrored.
                seen = shape.transformed(MIRROR_X) if pattern.kind == "ridge" else shape
                edges[table.name] = Edge(
                    seen, pattern.height or sheet.thickness, last.quantity * sheet.thickness
                )
            continue
        if piece is None or not _can_be_scaled(index, piece, scale, draft.unit, mistakes) or sheet is None:
            continue
        made[index] = (_part(table, piece, scale, sheet, draft.unit),)
        edges[table.name] = Edge(made[index][0].shape, sheet.thickness, sheet.thickness)
    parts = tuple(part for index in sorted(made) for part in made[index])
    _check_made_names(draft, made, mistakes)
    _check_amount(draft, made, mistakes)
    return Made(
        scale,
        parts,
        (*sources.findings(), *_unavailable(sheets), *_too_thick(sheets, draft.unit)),
        sources.files(),
    )


def _piece(draft: Draft, sources: Sources, index: int, tolerance: float) -> Piece | None:
    """What a drawn part's drawing holds; None for a pattern, or when it is wrong."""
    part = draft.file.part[index]
    if not isinstance(part, PartTable):
        return None
    return sources.piece(("part", index, "from"), part.source, tolerance)


def _foam(draft: Draft, table: PatternBase, sheet: Sheet, sheets: Sequence[Sheet]) -> Foam:
    """The foam of a pattern, and the room that its sheets and the bed leave for a piece."""
    foams = foams_of(draft.file.foam, sheets, draft.unit) if draft.sure("foam") else ()
    machine = cutter_of(draft.file.cutter, draft.unit)
    cutter = cutter_for(machine, foams, sheet.material, sheet.thickness)
    bed = None if table.by_hand or cutter.kind == "hand" else cutter.bed
    margin = in_mm(draft.file.layout.margin, draft.unit, USUAL_MARGIN)
    # As `planning.spacing_of` keeps it, or a hair more: the widest kerf of all counts for every sheet.
    rim = 2.0 * margin + max([machine.kerf, *(one.kerf or 0.0 for one in foams)])
    alike = [s for s in sheets if (s.material, s.thickness) == (sheet.material, sheet.thickness)]
    sizes = [size for other in alike for size in (other.size, other.size[::-1])]
    laid = sizes if bed is None else [(min(x, bed[0]), min(y, bed[1])) for x, y in sizes]
    return Foam(
        sheet.thickness,
        cutter.skin,
        table.neutral,
        rooms=_less(laid, rim),
        whole=_less(sizes, rim),
        turns=turns_of(table).angles,
    )


def _less(sizes: Sequence[tuple[float, float]], rim: float) -> tuple[tuple[float, float], ...]:
    """What sheets leave inside their rims, each size once."""
    return tuple(dict.fromkeys((x - rim, y - rim) for x, y in sizes if min(x, y) > rim))


def _pattern_parts(table: PatternBase, developed: Developed, sheet: Sheet, unit: Unit) -> tuple[Part, ...]:
    """The parts that a pattern is cut as: ``NAME``, or ``NAME-piece`` for several."""
    pattern = developed.pattern
    finished = tuple((measure.label, measure.value, measure.angle) for measure in pattern.finished)
    name_of = {p.suffix: f"{table.name}-{p.suffix}" if p.suffix else table.name for p in pattern.pieces}
    corner_of = {p.suffix: (p.shape.outline.bounds[0], p.shape.outline.bounds[1]) for p in pattern.pieces}
    seams = tuple(
        SeamInfo(
            name_of[seam.first],
            "" if seam.second is None else name_of[seam.second],
            seam.count * table.quantity,
            seam.length,
            seam.angle,
            seam.round_edge,
            tuple((name_of[suffix], _moved(edge, corner_of[suffix])) for suffix, edge in seam.edges),
        )
        for seam in seams_of(pattern)
    )
    layers = None
    if pattern.asked is not None:
        count = sum(piece.quantity for piece in pattern.pieces)
        layers = Layers(count, pattern.height, pattern.asked)
    parts = []
    for piece in pattern.pieces:
        shape = moved_to_origin(piece.shape)
        info = PatternInfo(pattern.kind, table.name, finished, developed.gap, pattern.notes, seams, layers)
        part = _as_asked(table, name_of[piece.suffix], shape, sheet, unit, each=piece.quantity)
        findings = tuple(_findings(shape, "", unit))
        parts.append(replace(part, source=f"pattern {pattern.kind}", findings=findings, pattern=info))
    return tuple(parts)


def _moved(edge: Sequence[_Spot], corner: _Spot) -> tuple[_Spot, ...]:
    """An edge of a piece in the coordinates of the part, whose box starts at the origin."""
    return tuple((x - corner[0], y - corner[1]) for x, y in edge)


def _check_made_names(draft: Draft, made: Mapping[int, tuple[Part, ...]], mistakes: Mistakes) -> None:
    """Refuses a part whose name a pattern gives to one of its pieces."""
    names = {table.name: index for index, table in enumerate(draft.file.part)}
    for index, parts in made.items():
        for part in parts:
            other = names.get(part.name, index)
            if other != index and part.name != draft.file.part[index].name:
                mistakes.add(
                    ("part", other, "name"),
                    f"'{part.name}' is what a piece of '{draft.file.part[index].name}' is called",
                    "Give one of them another name",
                )


def _check_amount(draft: Draft, made: Mapping[int, tuple[Part, ...]], mistakes: Mistakes) -> None:
    """Refuses more than can be laid out; what takes the largest share is named."""
    copies = {index: sum(part.copies for part in parts) for index, parts in made.items()}
    corners = {
        index: sum(part.copies * _corners(part.shape) for part in parts) for index, parts in made.items()
    }
    for what, counts, most, todo in (
        ("copies", copies, MOST_COPIES, "Lower its quantity, or plan the prop in several build files"),
        ("corners in all copies", corners, MOST_CORNERS, "Draw it with fewer points, or lower its quantity"),
    ):
        total = sum(counts.values())
        if total > most:
            index = max(counts, key=counts.__getitem__)
            name = draft.file.part[index].name
            told = f"the build comes to {total:,} {what}, of which '{name}' has {counts[index]:,}"
            mistakes.add(("part", index), f"{told}; the most is {most:,}", todo)


def _corners(shape: Shape) -> int:
    paths = [*shape.outline.rings(), *(line.path for line in shape.lines)]
    return sum(len(path.vertices) for path in paths)


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


def _part(table: PartTable, piece: Piece, scale: float, sheet: Sheet, unit: Unit) -> Part:
    shape = piece.shape.scaled(scale).at_origin()
    findings = (*piece.findings, *_findings(shape, table.source, unit))
    part = _as_asked(table, table.name, shape, sheet, unit)
    return replace(part, source=table.source, findings=findings)


def _as_asked(table: PartBase, name: str, shape: Shape, sheet: Sheet, unit: Unit, each: int = 1) -> Part:
    """What a drawn part and a pattern's piece have in common; a pattern takes ``each`` of its pieces."""
    return Part(
        name=name,
        shape=shape,
        material=sheet.material,
        thickness=sheet.thickness,
        copies=each * (table.quantity + table.spares),
        spares=each * table.spares,
        mirrored_pairs=table.mirrored_pairs,
        turns=turns_of(table),
        assembly=table.assembly or "",
        by_hand=table.by_hand,
        tabs=table.tabs,
        tab_length=tab_length_of(table, unit),
        label=table.label,
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


def _too_thick(sheets: Sequence[Sheet], unit: Unit) -> list[Finding]:
    """Doubts about sheets thicker than foam is sold: most likely a slip in the unit."""
    thick = sorted({sheet.thickness for sheet in sheets if sheet.thickness > THICKEST})
    return [
        Finding(
            "sheet-thick",
            f"sheets {show_length(thickness, unit)} thick are more than foam sheet is sold in",
            f"Look at the decimal point and the unit: thickness is in {unit}, as units under [build] says",
        )
        for thickness in thick
    ]
