"""The commands, one module each: its options (`add`) and what it does (`run`)."""
