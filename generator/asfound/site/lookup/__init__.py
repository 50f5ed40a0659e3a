"""What pages look up of an assessment."""
