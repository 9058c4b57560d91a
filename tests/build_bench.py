"""A folder with a drawing in it, and a build file that can be varied; for the tests of the build file."""

from __future__ import annotations

from pathlib import Path

import pytest

from nestkit.build import Build, load_build
from nestkit.errors import InputError, Problem

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">
<g id="plate" fill="none" stroke="#000000"><rect x="10" y="20" width="120" height="60"/>
<circle cx="40" cy="50" r="10"/></g>
<g id="sail" fill="none" stroke="#000000">
<path d="M 200,20 C 260,-10 340,60 330,150 C 320,240 240,260 200,220 Z"/>
<path id="seam" stroke="#00aa00" d="M 220,60 L 240,180"/></g>
</svg>"""

BUILD = """[build]
name = "Harbour flag"

[cutter]
kind = "laser"
bed = [600, 400]

[lines]
"#00aa00" = "mark"

[[sheet]]
thickness = 6
size = [600, 400]
buy = true

[[assembly]]
name = "head"

[[part]]
name = "plate"
from = "flag.svg#plate"
thickness = 6
quantity = 2
assembly = "head"

[[part]]
name = "sail"
from = "flag.svg#sail"
thickness = 6
"""


class Bench:
    """Loads variants of the build file above."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "flag.svg").write_text(DRAWING)

    def text(self, *changes: tuple[str, str]) -> str:
        text = BUILD
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        return text

    def load(self, *changes: tuple[str, str], scale: float | None = None) -> Build:
        return self.load_text(self.text(*changes), scale)

    def load_text(self, text: str, scale: float | None = None) -> Build:
        (self.folder / "build.toml").write_text(text, encoding="utf-8")
        return load_build(self.folder / "build.toml", scale)

    def problems(self, *changes: tuple[str, str]) -> list[Problem]:
        with pytest.raises(InputError) as caught:
            self.load(*changes)
        return list(caught.value.problems)

    def problem(self, *changes: tuple[str, str]) -> str:
        (problem,) = self.problems(*changes)
        return str(problem)
