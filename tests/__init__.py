"""A package, so that no other of this name, which some libraries install by mistake, is taken for it."""
