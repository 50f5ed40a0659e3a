"""Uncertainty with named sources: every result is a row of signed contributions."""
