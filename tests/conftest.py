"""What every test shares: repeatable property tests, and a browser where there is one."""

from __future__ import annotations

import gc
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Playwright

# Small matrices gain nothing from a second thread, and lose much where two processes share two cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# The demo's records are read without the history of this repository, which may be a shallow clone: that history is of
# the program, and no person of the demo has a part in it. Tests of histories make their own.
os.environ["GIT_CEILING_DIRECTORIES"] = str(Path(__file__).parents[1])

# Derandomised, so that a test run says the same thing twice; `--hypothesis-profile explore` looks further.
settings.register_profile("repeatable", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("explore", derandomize=False, deadline=None, max_examples=1000, print_blob=True)
settings.load_profile("repeatable")

BROWSERS_ON_PATH = ("chromium", "chromium-browser", "google-chrome")
BROWSER_CHANNELS = ("chrome", "msedge")


def _launch(playwright: Playwright) -> Browser:
    """Start the first browser that starts: one on PATH, one in its usual place, one of playwright's own.

    Raises LookupError with every reason why none did.
    """
    on_path = [path for name in BROWSERS_ON_PATH if (path := shutil.which(name))]
    choices: list[dict[str, str]] = [{"executable_path": path} for path in on_path]
    choices += [{"channel": channel} for channel in BROWSER_CHANNELS] + [{}]
    reasons = []
    for choice in choices:
        try:
            return playwright.chromium.launch(**choice)
        except Exception as failure:  # playwright raises its own errors and plain OSError alike
            name = next(iter(choice.values()), "playwright's own")
            reasons.append(f"{name}: {str(failure).splitlines()[0]}")
    raise LookupError("no browser starts here; install Chromium. Tried " + "; ".join(reasons))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium. Without one its tests are skipped, or fail where ASFOUND_BROWSER=required."""
    unavailable = pytest.fail if os.environ.get("ASFOUND_BROWSER") == "required" else pytest.skip
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as failure:
        unavailable(f"the browser tests need playwright: {failure}")
    with sync_playwright() as playwright:
        try:
            started = _launch(playwright)
        except LookupError as failure:
            unavailable(str(failure))
        yield started
        started.close()


def pytest_collection_finish() -> None:
    """Four thousand collected tests are here to stay: the collector need not look at them again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
