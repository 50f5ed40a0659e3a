"""The demo facility as a repository with its history."""
