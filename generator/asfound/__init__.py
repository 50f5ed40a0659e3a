"""asfound: a git repository of humidity-sensor calibration records, recomputed, reviewed and published."""

__version__ = "0.2.0"

DISTRIBUTION = "asfound"
"""What an installer calls it."""
