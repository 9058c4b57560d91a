"""Folds and bevels as grooves etched in stepped passes; no files, no build."""

from nestkit.folds.grooves import PartGrooves, part_grooves
from nestkit.folds.steps import FoldSettings, Steps, groove_mouth, steps_for

__all__ = ["FoldSettings", "PartGrooves", "Steps", "groove_mouth", "part_grooves", "steps_for"]
