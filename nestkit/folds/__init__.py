"""Folds and bevels as grooves etched in stepped passes; no files, no build."""

from nestkit.folds.grooves import PartGrooves, part_grooves
from nestkit.folds.steps import FoldSettings, Steps, groove_mouth, steps_for

__all__ = ["FoldSettings", "PartGrooves", "Steps", "groove_mouth", "part_grooves", "steps_for"]

#: Modules that other packages may import from; all else is this package's own.
DOORS = ("calibrate", "coupon", "ends", "fits", "groove", "grooves", "hatch", "steps")
