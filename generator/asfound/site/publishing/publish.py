"""Building the site as a whole, and serving it while records change: mkdocs' own build, called from here."""

from __future__ import annotations

import http.server
import os
import sys
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path

from mkdocs.commands.build import build
from mkdocs.config import load_config
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.exceptions import MkDocsException

from asfound.faults import RecordsRefused
from asfound.printing.templates import template_folders
from asfound.provenance.repository import CannotReadHistory, repository_of
from asfound.refusals import Refusal
from asfound.site.publishing.shell import ShellPlugin, refusal_text

PLUGIN = "asfound"
SHELL_VARIABLE = "ASFOUND_SHELL"
"""By which the mkdocs.yml of a facility names the packaged shell that it inherits."""
POLL_S = 1.0


@dataclass(frozen=True, kw_only=True)
class Published:
    """What a build put in place: the folder, and how many pages and other files of the records' own it holds."""

    site: Path
    pages: int
    files: int


def build_site(
    config_file: Path | None, records: Path, site_dir: Path | None = None, day: date | None = None
) -> Published:
    """Build the site of `records` and publish it at `site_dir`, all of it or nothing.

    `config_file` None: the packaged shell, for records without a mkdocs.yml. `site_dir` None: what the file
    says, by default `site` beside it. `day` None: ASFOUND_DATE, else the day that the file names, else today.
    Same records, templates, code and day: same bytes. Raises RecordsRefused where the records hold errors and
    Refusal where the site cannot be written; the site that was there then stands as it was.
    """
    settings: dict[str, str] = {} if site_dir is None else {"site_dir": str(site_dir.resolve())}
    shell = template_folders()[-1] / "site.yml"
    os.environ[SHELL_VARIABLE] = str(shell)
    if config_file is None:
        config_file = shell
        settings.setdefault("site_dir", str(Path("site").resolve()))
    try:
        config = _read_config(config_file, settings)
        plugin = config.plugins.get(PLUGIN)
        if not isinstance(plugin, ShellPlugin):
            raise Refusal(
                f"{config_file} does not name the plugin {PLUGIN}",
                "add it to `plugins`, or inherit site_templates/site.yml",
            )
        plugin.day = day
        plugin.config.records = str(records.resolve())
        build(config)
    except MkDocsException as problem:
        if isinstance(problem.__cause__, RecordsRefused | Refusal):
            raise problem.__cause__ from None
        raise Refusal(problem.format_message()) from problem
    content = plugin.content
    return Published(site=Path(config.site_dir), pages=len(content.pages), files=len(content.files))


def _read_config(config_file: Path, settings: dict[str, str]) -> MkDocsConfig:
    try:
        return load_config(str(config_file), **settings)
    except ValueError as problem:  # what YAML takes for a day and is none, such as 2026-02-30
        raise Refusal(f"{config_file}: {problem}", "correct the day; write it as YYYY-MM-DD") from None


def serve_site(
    config_file: Path | None,
    records: Path,
    site_dir: Path,
    day: date | None = None,
    port: int = 8000,
    *,
    say: Callable[[str], None] = print,
    stop: threading.Event | None = None,
    poll_s: float = POLL_S,
) -> None:
    """Build, serve on localhost, and build again whenever a record, a template or the commit checked out changes.

    While the records hold errors the last good site is served and the faults are said. `port` 0 takes a free
    one; the address is in the first line said. Raises Refusal where the port cannot be had.
    """
    stop = stop or threading.Event()
    watched = [records, *template_folders()]
    if config_file is not None:
        watched += [config_file, config_file.parent / "site_templates"]
    watched += _log_of_head(records)
    with _server(site_dir.resolve(), port) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        say(f"serving {site_dir} at http://localhost:{server.server_address[1]}/ (stop with Ctrl+C)")
        seen: dict[str, tuple[int, int]] | None = None
        try:
            while not stop.is_set():
                started = time.monotonic()
                now = _state(watched)
                scan_s = time.monotonic() - started
                if now != seen:
                    _build_and_tell(config_file, records, site_dir, day, say)
                    seen = now  # what changed during the build differs from this and is built next
                stop.wait(max(poll_s, 10 * scan_s))
        except KeyboardInterrupt:
            say("stopped")
        finally:
            server.shutdown()


def _log_of_head(records: Path) -> list[Path]:
    """What tells that something was committed, merged or checked out; nothing where there is no history."""
    try:
        repository = repository_of(records)
        return [repository.log_of_head] if repository is not None else []
    except CannotReadHistory:  # which the build will say
        return []


def _build_and_tell(
    config_file: Path | None, records: Path, site_dir: Path, day: date | None, say: Callable[[str], None]
) -> None:
    """Build once and say how it went: whatever went wrong, the site that was there goes on being served."""
    started = time.monotonic()
    try:
        published = build_site(config_file, records, site_dir, day)
    except RecordsRefused as refused:
        say(refusal_text(refused, records))
    except Refusal as problem:
        say(str(problem))
    except Exception:  # a fault of a template that is being worked on, or ours: serving goes on
        say(traceback.format_exc())
    else:
        say(f"built {published.pages} pages in {time.monotonic() - started:.1f} s")


def _state(watched: list[Path]) -> dict[str, tuple[int, int]]:
    """Time of change and size of every file below the watched folders."""
    found: dict[str, tuple[int, int]] = {}
    folders = [path for path in watched if path.is_dir()]
    for path in watched:
        if path.is_file():
            about = path.stat()
            found[str(path)] = about.st_mtime_ns, about.st_size
    while folders:
        try:
            with os.scandir(folders.pop()) as entries:
                for entry in entries:
                    if entry.is_dir():
                        folders.append(Path(entry.path))
                    else:
                        about = entry.stat()
                        found[entry.path] = about.st_mtime_ns, about.st_size
        except FileNotFoundError:
            continue  # gone between listing and looking: the next look sees it
    return found


class _Handler(http.server.SimpleHTTPRequestHandler):
    """Files of the site, never from a browser's cache: it would show the site of before the change."""

    def end_headers(self) -> None:
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """A request is no news."""


class _Server(http.server.ThreadingHTTPServer):
    daemon_threads = True
    # On Windows the option would let two servers share one port; elsewhere it only skips the wait after a
    # stop.
    allow_reuse_address = sys.platform != "win32"

    def handle_error(self, request: object, client_address: object) -> None:
        """A browser that went away before the answer is no news either."""


def _server(site: Path, port: int) -> _Server:
    try:
        return _Server(("127.0.0.1", port), partial(_Handler, directory=str(site)))
    except OSError as problem:
        raise Refusal(f"port {port} cannot be had: {problem.strerror}", "name another with --port") from problem
