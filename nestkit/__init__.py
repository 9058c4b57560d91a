"""nestkit: from a maker's drawings to sheets, cutter files and pieces that fit.

The package's parts are imported where they are needed, so that ``nestkit --help`` is instant.
"""

__version__ = "0.1.0"
