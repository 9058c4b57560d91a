"""Sheets, materials and their cautions."""
