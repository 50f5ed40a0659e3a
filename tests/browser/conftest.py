"""A page in a browser that tells what no page of ours may do: fail in a script, ask another place for something."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest

from asfound.site.publishing import shell
from asfound.site.publishing.publish import build_site
from tests.site import sample

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, ViewportSize

ROOT = Path(__file__).parents[2]
DESK = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}


@dataclass
class Site:
    """The sample's site, by both of its addresses: below a sub-path of a server, and as files."""

    folder: Path
    address: str

    def served(self, path: str) -> str:
        return f"{self.address}/{path}"

    def as_file(self, path: str) -> str:
        return (self.folder / path).as_uri()


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: object) -> None:
        """Nothing to say."""


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    top = tmp_path_factory.mktemp("server")
    (top / "records").mkdir()
    folder = top / "some" / "where" / "site"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shell, "load_builder", lambda: sample.sample_content)
        build_site(ROOT / "mkdocs.yml", top / "records", folder, sample.DAY)
    handler = partial(_Quiet, directory=str(top))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield Site(folder, f"http://127.0.0.1:{server.server_address[1]}/some/where/site")
        server.shutdown()


@dataclass
class _Watched:
    """An open page, and what went wrong on it since it was last asked."""

    page: Page
    failures: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("pageerror", lambda error: self.failures.append(f"script: {error}"))
        self.page.on("console", lambda said: self.failures.append(said.text) if said.type == "error" else None)
        self.page.on("request", lambda asked: self.failures.append(asked.url) if _leaves(asked.url) else None)

    def begin(self, viewport: ViewportSize, color_scheme: Literal["dark", "light"] = "light") -> None:
        """As a page that was just opened, but for its address: each test goes to its own."""
        self.page.set_viewport_size(viewport)
        self.page.emulate_media(media="null", color_scheme=color_scheme)
        self.page.mouse.move(0, 0)

    def end(self) -> list[str]:
        """What failed; nothing of it is left, nor of what a page kept in the browser, for the next test."""
        self.page.evaluate("localStorage.clear(); sessionStorage.clear()")
        failures, self.failures = self.failures, []
        return failures


KeptPages = Callable[..., _Watched]


@contextmanager
def watched_page(browser: Browser, **options: object) -> Iterator[Page]:
    """A page at a desk, or as `options` say; on leaving, a failed script or a request to elsewhere fails."""
    context = browser.new_context(**{"viewport": DESK, **options})
    watched = _Watched(context.new_page())
    yield watched.page
    context.close()
    assert watched.failures == []


@pytest.fixture(scope="session")
def kept_pages(browser: Browser) -> KeptPages:
    """A page for each kind of device, open to the end: a browser reads the script that draws charts anew for each page
    that is opened, which takes seconds, and knows it where the page only goes on to another address.
    """
    opened: dict[tuple[tuple[str, object], ...], _Watched] = {}

    def page_of(**device: object) -> _Watched:
        key = tuple(sorted(device.items()))
        if key not in opened:
            opened[key] = _Watched(browser.new_context(**device).new_page())
        return opened[key]

    return page_of


@contextmanager
def opened_by(kept_pages: KeptPages, opener: str, address: str) -> Iterator[Page]:
    """A second page at a desk, which the kept one opens: so the two share what the browser has read."""
    first = kept_pages().page
    first.goto(opener)
    with first.expect_popup() as opened:
        first.evaluate("() => { open('about:blank'); }")
    watched = _Watched(opened.value)
    watched.page.set_viewport_size(DESK)
    watched.page.goto(address)
    yield watched.page
    watched.page.close()
    assert watched.failures == []


@pytest.fixture
def page(kept_pages: KeptPages, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page; `@pytest.mark.parametrize("page", [{…}], indirect=True)` asks for another browser than at a desk."""
    with at_page(kept_pages, **getattr(request, "param", {})) as opened:
        yield opened


@contextmanager
def at_page(kept_pages: KeptPages, **options: object) -> Iterator[Page]:
    """A kept page of a device as `options` say, as good as new; on leaving, it fails as `watched_page` does."""
    seen = {name: options.pop(name) for name in ("viewport", "color_scheme") if name in options}
    watched = kept_pages(**options)
    watched.begin(**{"viewport": DESK, **seen})
    try:
        yield watched.page
    finally:
        failures = watched.end()
    assert failures == []


def _leaves(url: str) -> bool:
    return not url.startswith(("http://127.0.0.1:", "file:", "data:", "blob:"))
