"""The records in git: read, checked and held; nothing is computed from them here."""
