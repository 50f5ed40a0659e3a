"""Templates and typesetting: used by certificates, sheets and forms."""
