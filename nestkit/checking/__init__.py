"""Reads the written files back and judges them with code of its own."""

from nestkit.checking.coupon import check_coupon
from nestkit.checking.folder import check_folder
from nestkit.checking.verdict import CODES, Fault, Verdict

__all__ = ["CODES", "Fault", "Verdict", "check_coupon", "check_folder"]
