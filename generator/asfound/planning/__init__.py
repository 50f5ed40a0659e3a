"""What is due, in which trips, at which pressures."""
