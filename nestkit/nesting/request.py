"""What a group's planning is asked, and how each part is cut: by the cutter, by hand, or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from nestkit.build.model import CutterKind, Part, Sheet, Turns
from nestkit.geometry.turned_box import turns_that_fit
from nestkit.nesting.bottom_left import construct
from nestkit.nesting.forms import turn_choices
from nestkit.nesting.model import Unplaced
from nestkit.nesting.problem import Bin, Item, Spacing
from nestkit.nesting.supply import Supply, supply
from nestkit.units import Unit, show_length, show_size

Copy = tuple[Part, int]


@dataclass(frozen=True, eq=False)
class GroupRequest:
    """What is to be planned.

    Parameters
    ----------
    material, thickness
        Of the group (mm).
    parts : sequence of Part
        All of that material and thickness.
    sheets : sequence of Sheet
        Likewise.
    cutter : str
        laser, knife or hand.
    bed : (float, float) or None
    spacing : Spacing
    done : frozenset of (str, int)
        Parts and copies that are cut already.
    unit : "mm" or "in"
        In which messages speak.
    most_cuts : int or None
        Straight cuts by which a sheet is cut into blanks for the bed, at most; None without a limit.
    """

    material: str
    thickness: float
    parts: Sequence[Part]
    sheets: Sequence[Sheet]
    cutter: CutterKind
    bed: tuple[float, float] | None
    spacing: Spacing
    done: frozenset[tuple[str, int]] = frozenset()
    unit: Unit = "mm"
    most_cuts: int | None = None

    @property
    def copies(self) -> int:
        """Copies to be cut, spares included."""
        return sum(len(self.copies_of(part)) for part in self.parts)

    def copies_of(self, part: Part) -> list[int]:
        """Numbers of the part's copies that are to be cut."""
        return [copy for copy in range(1, part.copies + 1) if (part.name, copy) not in self.done]


@dataclass(frozen=True, eq=False)
class Batch:
    """Copies that are cut the same way, with the items they are to the engine."""

    how: CutterKind
    bed: tuple[float, float] | None
    copies: list[Copy]
    items: list[Item]


def batches_of(request: GroupRequest) -> tuple[list[Batch], list[Unplaced]]:
    """Splits the copies into those for the cutter, those for the hand and those that fit nowhere."""
    by_machine = Batch(request.cutter, request.bed, [], [])
    by_hand = Batch("hand", None, [], [])
    unplaced: list[Unplaced] = []
    for kind, part in enumerate(request.parts):
        if not request.copies_of(part):
            continue
        how = how_cut(request, part)
        if how is None:
            why = _too_large(part, request)
            unplaced += [Unplaced(part, copy, why) for copy in request.copies_of(part)]
            continue
        batch = by_hand if how == "hand" else by_machine
        item = Item(part.shape.outline, part.turns, kind=kind)
        turns = _useful_turns(item, _rooms(request, batch.bed))
        for copy in request.copies_of(part):
            batch.copies.append((part, copy))
            batch.items.append(replace(item, turns=turns, mirrored=part.is_mirrored(copy)))
    return [batch for batch in (by_machine, by_hand) if batch.items], unplaced


def would_fit_turned(request: GroupRequest, part: Part) -> bool:
    """Whether a part that fits no sheet would fit one if it might take any turn."""
    return part.turns.angles is not None and how_cut(request, replace(part, turns=Turns())) is not None


def how_cut(request: GroupRequest, part: Part) -> CutterKind | None:
    """How a part of the group is cut: by the cutter, by hand on a whole sheet, or not at all (None).

    A part goes to the hand when the maker asks for it, or when it fits whole sheets but not the bed.
    """
    item = Item(part.shape.outline, part.turns)
    if not part.by_hand and request.cutter != "hand" and _fits(item, request, request.bed):
        return request.cutter
    return "hand" if _fits(item, request, None) else None


def why_by_hand(cutter: CutterKind, part: Part) -> str:
    """Why a part that lies on a sheet for the hand is not cut by the cutter."""
    if cutter == "hand":
        return "everything is cut by hand"
    return "as asked" if part.by_hand else "too large for the bed"


def _bins(request: GroupRequest, bed: tuple[float, float] | None) -> Supply:
    """One of each different bin."""
    sheets = [s for s in request.sheets if s.buy or s.in_shop > 0]
    first = sheets[0] if sheets else None
    return supply(sheets, bed, 1, first=first, most_cuts=request.most_cuts)


def _rooms(request: GroupRequest, bed: tuple[float, float] | None) -> list[tuple[float, float]]:
    """Sizes of the different rectangular bins, margin taken off, largest first."""
    margin = 2.0 * request.spacing.margin
    sizes = {
        (bin.blank.width - margin, bin.blank.height - margin)
        for bin in _bins(request, bed).meaning
        if bin.sheet.outline is None
    }
    return sorted(sizes, key=lambda size: -size[0] * size[1])


def _fits(item: Item, request: GroupRequest, bed: tuple[float, float] | None) -> bool:
    """Whether there is a bin that holds the item; of offcuts whether a place in them was found."""
    if any(turns_that_fit(item.outline, item.turns.angles, room) for room in _rooms(request, bed)):
        return True
    row = _bins(request, bed)
    return any(
        _place_found(item, bin, request.spacing)
        for bin, meaning in zip(row.bins, row.meaning, strict=True)
        if meaning.sheet.outline is not None
    )


def _place_found(item: Item, bin: Bin, spacing: Spacing) -> bool:
    if item.outline.area > bin.outline.area:
        return False
    return not construct([item], [bin], spacing, [0]).left_out


def _useful_turns(item: Item, rooms: Sequence[tuple[float, float]]) -> Turns:
    """The item's own turns; when any is allowed but the square ones do not fit, the slanted ones that do."""
    if item.turns.angles is not None:
        return item.turns
    square = Turns(turn_choices(item))
    if any(turns_that_fit(item.outline, square.angles, room) for room in rooms):
        return item.turns
    fitting = [angles for room in rooms if (angles := turns_that_fit(item.outline, item.turns.angles, room))]
    if not fitting:
        return item.turns
    found = fitting[0]
    # A slanted part has little choice: the first, middle and last turn that fit say enough.
    return Turns(tuple(sorted({found[0], found[len(found) // 2], found[-1]})))


def why_no_place(request: GroupRequest) -> str:
    """Why a copy that would fit a sheet lies on none."""
    if any(sheet.buy for sheet in request.sheets):
        return "no place was found for it on any sheet"
    return "no sheet left: the shop's are full and none may be bought"


def _too_large(part: Part, request: GroupRequest) -> str:
    if not request.sheets:
        return "there is no sheet of its material and thickness"
    usable = [sheet for sheet in request.sheets if sheet.buy or sheet.in_shop > 0]
    if not usable:
        return "no sheet of its material and thickness is in the shop, and none may be bought"
    unit = request.unit
    size = show_size(*part.shape.outline.size, unit)
    largest = show_size(*max(usable, key=lambda s: s.size[0] * s.size[1]).size, unit)
    turned = "however it is turned" if part.turns.angles is None else "at the turns that it may take"
    return (
        f"{size} fits no sheet {turned}; the largest is {largest}, of which "
        f"{show_length(request.spacing.margin, unit)} all round stay free"
    )
