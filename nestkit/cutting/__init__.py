"""Kerf, cut order and the split into jobs."""
