"""The packing engine: which part lies where on which sheet, and bounds on how few sheets can do."""
