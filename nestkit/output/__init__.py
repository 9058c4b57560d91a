"""What is written: DXF, SVG, plan.json, lists and the report."""
