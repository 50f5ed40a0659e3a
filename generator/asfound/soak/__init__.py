"""Raw logs of reference and sensor: reading them, where the reference stood still, what was left of the approach."""
