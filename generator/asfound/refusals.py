"""Why something that was asked for is not done, and what to do about it."""

from __future__ import annotations


class CannotPublish(Exception):
    """The site cannot be put in its place; the message says why and what to do."""
