"""How many examples a slow property test draws: few in the suite, many times as many in a long run.

The environment variable ASFOUND_EXAMPLES says how many times; `python -m tests.benchmarks.fuzz` sets it.
"""

from __future__ import annotations

import os

from hypothesis import settings


def examples(few: int) -> settings:
    """As many examples as the suite can afford, times what a long run asks for."""
    return settings(max_examples=few * int(os.environ.get("ASFOUND_EXAMPLES", "1")), deadline=None)
