"""What is written: DXF, SVG, plan.json, lists and the report."""

from nestkit.output.folder import check_out
from nestkit.output.write import plan_files, write_plan

__all__ = ["check_out", "plan_files", "write_plan"]
