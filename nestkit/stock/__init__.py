"""Sheets, materials and their cautions."""

#: Modules that other packages may import from; all else is this package's own.
DOORS = (
    "blanks",
    "cutting_up",
    "drawn",
    "leftovers",
    "materials",
    "odd_blanks",
    "pieces",
    "shop",
    "shop_file",
    "shop_sheets",
    "shop_uses",
)
