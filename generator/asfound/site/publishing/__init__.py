"""Page bodies into the shell, the whole site or nothing."""
