"""Sheets for a visit to come: its CSV with all that is known, a page for paper, a form for a phone."""
