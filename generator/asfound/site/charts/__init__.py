"""Charts as data for the plotting script."""
