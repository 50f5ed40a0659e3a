"""What each page shows, ready to print: every number rounded, every state worded; no HTML."""
