"""A package of its own, so that no library that installs a package named `tests` can stand in its place."""
