"""Out-of-tolerance cases: since when, how large, for how long."""
