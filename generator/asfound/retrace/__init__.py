"""What would have come out, had a reference been wrong."""
