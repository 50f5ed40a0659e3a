"""Why something that was asked for is not done, and what to do about it.

Errors of the records are another thing: they are `faults`, values with a place, and all told at once.
"""

from __future__ import annotations


class Refusal(Exception):
    """Something is not done: `why`, and the `cure` (empty where the why says it). The command line prints both."""

    def __init__(self, why: str, cure: str = "") -> None:
        super().__init__(f"{why}\n  cure: {cure}" if cure else why)
        self.why, self.cure = why, cure
