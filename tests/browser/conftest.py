"""A page in a browser that tells what no page of ours may do: fail in a script, ask another place for something."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from asfound.site.publishing import shell
from asfound.site.publishing.publish import build_site
from tests.site import sample

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

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


@contextmanager
def watched_page(browser: Browser, **options: object) -> Iterator[Page]:
    """A page at a desk, or as `options` say; on leaving, a failed script or a request to elsewhere fails."""
    context = browser.new_context(**{"viewport": DESK, **options})
    opened = context.new_page()
    failures: list[str] = []
    opened.on("pageerror", lambda error: failures.append(f"script: {error}"))
    opened.on("console", lambda said: failures.append(said.text) if said.type == "error" else None)
    opened.on("request", lambda asked: failures.append(asked.url) if _leaves(asked.url) else None)
    yield opened
    context.close()
    assert failures == []


@pytest.fixture
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page; `@pytest.mark.parametrize("page", [{…}], indirect=True)` asks for another browser than at a desk."""
    with watched_page(browser, **getattr(request, "param", {})) as opened:
        yield opened


def _leaves(url: str) -> bool:
    return not url.startswith(("http://127.0.0.1:", "file:", "data:", "blob:"))
