"""What each instrument did over the years: line, drift, outlook, interval."""
