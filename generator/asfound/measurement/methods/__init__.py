"""How the readings of each reference method become a humidity: one file a method."""
