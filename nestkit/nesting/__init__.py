"""The packing engine: which part lies where on which sheet, and bounds on how few sheets can do."""

#: Modules that other packages may import from; all else is this package's own.
DOORS = (
    "batch",
    "bottom_left",
    "bounds",
    "carried",
    "course",
    "forms",
    "group",
    "kept",
    "master",
    "model",
    "overlap",
    "problem",
    "proofs",
    "remains",
    "request",
    "second_stage",
    "side_by_side",
    "stops",
    "supply",
)
