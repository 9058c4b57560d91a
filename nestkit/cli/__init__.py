"""The commands; no computation here."""
