"""What certificates state, as typed models: written when one is issued, and read again."""
