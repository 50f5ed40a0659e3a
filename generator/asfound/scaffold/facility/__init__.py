"""A new, empty facility."""
