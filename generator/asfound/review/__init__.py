"""What a change means: two commits read, the visits that it bears on assessed on both sides, and its rules."""
