"""Exports of the building system: read, checked, placed in time."""
