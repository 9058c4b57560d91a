"""The build file: its model, its reading, the part list at a scale."""
