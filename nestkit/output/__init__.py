"""What is written: DXF, SVG, plan.json, lists and the report."""

from nestkit.output.write import plan_files, write_plan

__all__ = ["plan_files", "write_plan"]
