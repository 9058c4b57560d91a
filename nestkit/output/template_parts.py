"""Which parts get a paper template, and what is written on it."""

from __future__ import annotations

from dataclasses import dataclass

from nestkit.build.model import Build, Part, TemplateChoice
from nestkit.nesting.model import Plan
from nestkit.output.line_words import fold_words
from nestkit.output.text import plain
from nestkit.units import Unit, show_length

#: A blank at which a line of a caption is not broken; of the private use area, so no name holds it.
KEPT = "\ue000"


@dataclass(frozen=True, eq=False)
class Template:
    """A part's template.

    Parameters
    ----------
    number : int
        The number that the part's copies carry and that the lists and the report give it.
    part : Part
    copies, mirrored : int
        How many are cut with it, and how many of those with the template turned over.
    """

    number: int
    part: Part
    copies: int
    mirrored: int

    @property
    def name(self) -> str:
        """Number and name."""
        return f"{self.number} {plain(self.part.name)}"

    @property
    def count(self) -> str:
        """What to cut: ``cut 4, 2 of them turned over``."""
        if not self.mirrored:
            return f"cut {self.copies}"
        if self.mirrored == self.copies:
            return f"cut {self.copies}, turned over"
        return f"cut {self.copies}, {self.mirrored} of them turned over"

    def foam(self, unit: Unit) -> str:
        """Material and thickness: ``eva 6 mm``."""
        return f"{plain(self.part.material)} {show_length(self.part.thickness, unit)}"

    def caption(self, unit: Unit) -> str:
        """Everything the maker must know, breakable between its three statements alone."""
        return " ".join(
            statement.replace(" ", KEPT) for statement in (f"{self.name},", f"{self.count},", self.foam(unit))
        )

    def folds(self) -> str:
        """Folds and bevels by their angles; empty without any."""
        return fold_words(self.part.shape)


def templates_of(build: Build, plan: Plan, which: TemplateChoice) -> tuple[Template, ...]:
    """The templates in the build file's order: of what the plan cuts by hand, of all parts, or none."""
    if which == "none":
        return ()
    copies: dict[str, list[int]] = {}
    if which == "hand":
        for sheet in plan.sheets:
            if sheet.how == "hand":
                for placed in sheet.placed:
                    copies.setdefault(placed.part.name, []).append(placed.copy)
    else:
        copies = {part.name: list(range(1, part.copies + 1)) for part in build.parts}
    return tuple(
        Template(build.number_in_list(part), part, len(own), sum(part.is_mirrored(copy) for copy in own))
        for part in build.parts
        if (own := copies.get(part.name))
    )
