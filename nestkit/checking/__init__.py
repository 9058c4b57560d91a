"""Reads the written files back and judges them with code of its own."""
