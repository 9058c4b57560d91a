"""SVG and DXF drawings, read into outlines and lines."""
