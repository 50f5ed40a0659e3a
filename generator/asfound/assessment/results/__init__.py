"""Results: one for each plateau and channel, judged and summed up."""
