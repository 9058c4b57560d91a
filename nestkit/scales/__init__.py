"""The same build at other sizes: what each comes to, where the cliffs are, and the largest that fits."""

#: Modules that other packages may import from; all else is this package's own.
DOORS = (
    "cache",
    "cluster",
    "compare",
    "largest",
    "model",
    "runner",
    "sizes",
    "source",
    "table",
    "task",
    "words",
    "write",
)
