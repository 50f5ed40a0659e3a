"""How much a slow test draws. Of examples few in the suite, many times as many in a long run.

The environment variable ASFOUND_EXAMPLES says how many times; `python -m tests.benchmarks.fuzz` sets it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial

import pytest
from hypothesis import settings

from asfound.measurement.monte_carlo import monte_carlo

CHARACTERS = "".join(
    map(chr, [*range(0x250), *range(0x660, 0x66A), *range(0x2000, 0x2070), 0x3BC, 0x2212, 0xFEFF, 0x1F321])
)
"""What a text may be made of: Latin with its controls, other digits, spaces of every width, minus, mu, a picture.

Of all of Unicode hypothesis first makes a table, which takes longer than the tests that draw from it.
"""


def examples(few: int) -> settings:
    """As many examples as the suite can afford, times what a long run asks for."""
    return settings(max_examples=few * int(os.environ.get("ASFOUND_EXAMPLES", "1")), deadline=None)


@contextmanager
def few_trials(trials: int = 20) -> Iterator[None]:
    """Monte Carlo with few trials, for tests that ask nothing of what is drawn: tests/measurement does."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "asfound.assessment.pipeline.monte_carlo", partial(monte_carlo, trials=trials, most_trials=trials)
        )
        yield
