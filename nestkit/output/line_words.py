"""The lines of a part in words: its folds and bevels with their angles, its holes and marks."""

from __future__ import annotations

import math
from collections import Counter

from nestkit.geometry import LineKind, Shape
from nestkit.output.text import show_number
from nestkit.words import counted


def show_degrees(angle: float) -> str:
    """An angle in radians as it stands beside a line: ``22.5°``."""
    return f"{show_number(math.degrees(angle), 1)}°"


def fold_words(shape: Shape) -> str:
    """Folds, then bevels, by their angles: ``fold 60° x 5, bevel 30° x 2``; empty without any."""
    found = Counter(
        (line.kind is LineKind.BEVEL, round(math.degrees(line.angle), 1))
        for line in shape.lines
        if line.kind in (LineKind.FOLD, LineKind.BEVEL) and line.angle > 0.0
    )
    return ", ".join(
        f"{'bevel' if bevel else 'fold'} {show_number(angle, 1)}°" + (f" x {count}" if count > 1 else "")
        for (bevel, angle), count in sorted(found.items())
    )


def mark_count(shape: Shape) -> int:
    """How many marks and notches are drawn on it."""
    return sum(line.kind is LineKind.MARK for line in shape.lines)


def line_words(shape: Shape) -> str:
    """What is in and on an outline: ``2 holes, 5 folds 60°, 4 marks``; empty for a plain one."""
    holes, marks = len(shape.outline.holes), mark_count(shape)
    words = [counted(holes, "hole")] if holes else []
    for kind in (LineKind.FOLD, LineKind.BEVEL):
        angles = [line.angle for line in shape.lines if line.kind is kind]
        if angles:
            least, most = show_degrees(min(angles)), show_degrees(max(angles))
            reach = most if least == most else f"{least.removesuffix('°')} to {most}"
            words.append(f"{counted(len(angles), kind.value)} {reach}")
    return ", ".join([*words, counted(marks, "mark")] if marks else words)
