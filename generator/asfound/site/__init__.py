"""The published site: what the pages say, the shell around them, and how the whole is put in place."""
