"""Old lists of sensors and results into records."""
