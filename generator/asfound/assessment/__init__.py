"""What the results mean: verdicts, advice, drift, due dates, findings."""
