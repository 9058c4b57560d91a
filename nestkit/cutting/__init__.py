"""Kerf, cut order and the split into jobs."""

#: Modules that other packages may import from; all else is this package's own.
DOORS = ("coupon", "etching", "jobs", "labels", "model", "route", "smallest", "tabs", "times")
