"""What is written: DXF, SVG, plan.json, lists and the report."""

from nestkit.output.folder import check_out
from nestkit.output.write import plan_files, write_plan

__all__ = ["check_out", "plan_files", "write_plan"]

#: Modules that other packages may import from; all else is this package's own.
DOORS = ("coupon", "folder", "line_words", "lists", "palette", "report_words", "text", "write")
