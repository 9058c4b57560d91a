"""Reads the written files back and judges them with code of its own."""

from nestkit.checking.coupon import check_coupon
from nestkit.checking.folder import check_folder
from nestkit.checking.plan_entries import LeftoverEntry, ListedPart, PlacedCopy, PlanFile, SheetEntry
from nestkit.checking.plan_file import read_plan
from nestkit.checking.verdict import CODES, Fault, Verdict

__all__ = [
    "CODES",
    "Fault",
    "LeftoverEntry",
    "ListedPart",
    "PlacedCopy",
    "PlanFile",
    "SheetEntry",
    "Verdict",
    "check_coupon",
    "check_folder",
    "read_plan",
]
