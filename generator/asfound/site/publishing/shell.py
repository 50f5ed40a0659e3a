"""The shell of the site: a mkdocs plugin that hands our pages to mkdocs and its theme.

mkdocs brings navigation, search, the theme's templates and the fixed pages; page bodies come as HTML and are
not converted again. Every other module is ignorant of mkdocs, so another shell needs this file (and
publish.py) alone.
"""

from __future__ import annotations

import logging
import os
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from html import escape
from pathlib import Path
from typing import Any

from jinja2 import Environment
from mkdocs.config import config_options
from mkdocs.config.base import BaseConfigOption, Config, ValidationError
from mkdocs.config.config_options import ExtraScriptValue
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.exceptions import Abort
from mkdocs.livereload import LiveReloadServer
from mkdocs.plugins import BasePlugin, event_priority
from mkdocs.structure.files import File, Files, InclusionLevel
from mkdocs.structure.nav import Navigation
from mkdocs.structure.pages import Page
from mkdocs.structure.toc import AnchorLink, TableOfContents
from mkdocs.utils import CountHandler
from mkdocs.utils.templates import TemplateContext

from asfound.faults import RecordsRefused
from asfound.printing.compiled import CompiledTemplates
from asfound.printing.templates import template_files, template_folders
from asfound.records.load import zone_at
from asfound.records.models.fields import parse_day
from asfound.refusals import Refusal
from asfound.site.publishing.content import SiteContent, SitePage
from asfound.site.publishing.declared_packages import plotly_script
from asfound.site.publishing.stencil import stamping_templates
from asfound.site.publishing.swap import StagedSite
from asfound.today import today

PAGE_SCRIPTS = ("search.js", "tables.js", "print.js")
CHART_SCRIPTS = ("charts.js", "chart_results.js", "chart_trends.js", "chart_exposure.js", "chart_log.js")
SITE_MAP = "sitemap.xml"
# The search index drops these tags and would run the words before and after together.
CELL_ENDS = re.compile(r"</(?:td|th|dt|dd|li|caption|summary|option|div|h\d)>")

_COMPILED = CompiledTemplates()

Builder = Callable[[Path, date, Path], SiteContent]


def load_builder() -> Builder:
    """What turns records into the content of a site; imported late, for it brings in everything else."""
    from asfound.site.publishing.build import site_content

    return site_content


class _Day(BaseConfigOption[date]):
    """A day; YAML reads an unquoted one as a date by itself."""

    def run_validation(self, value: object) -> date:
        try:
            return parse_day(str(value))
        except ValueError:
            raise ValidationError(f"{value!s:.40} is not a day; write it as YYYY-MM-DD") from None


class ShellConfig(Config):
    """What mkdocs.yml may say under the plugin's name; folders count from the file's own."""

    records = config_options.Dir(default="records", exists=False)
    templates = config_options.Optional(config_options.Dir(exists=True))
    day = config_options.Optional(_Day())
    """the day that the site is built for where neither --date nor ASFOUND_DATE says another; left out: today"""


class ShellPlugin(BasePlugin[ShellConfig]):
    """Builds the content when mkdocs starts, has it rendered aside, and publishes all of it or nothing.

    `day` is set by our own commands, where they are given one; else mkdocs.yml, or the clock, is asked.
    """

    day: date | None = None

    def __init__(self) -> None:
        self.content = SiteContent(pages=())
        self.folders: tuple[Path, ...] = ()
        self._staged: StagedSite | None = None
        self._epoch_before: str | None = None

    @event_priority(100)
    def on_config(self, config: MkDocsConfig) -> MkDocsConfig:
        """Compute before anything is written: faulty records end the build here."""
        records = Path(self.config.records)
        try:
            day = self.day or today(zone_at(records), otherwise=self.config.day)
            own = _own_templates(self.config.templates, config)
            self.folders = template_folders(own)
            if not records.is_dir():
                raise Refusal(
                    f"there is no folder of records at {records}",
                    "name it with --records, or as `records` of the plugin asfound in mkdocs.yml",
                )
            self.content = load_builder()(records, day, self.folders[0])
            staged = StagedSite(Path(config.site_dir))
            staged.begin()
        except RecordsRefused as refused:
            raise Abort(refusal_text(refused, records)) from refused
        except Refusal as problem:
            raise Abort(str(problem)) from problem
        self._staged = staged
        config.site_dir = str(staged.staging)
        self._set_epoch(day)
        if day == self.config.day:  # a site that stays on its day says so on every page
            config.extra["fixed_day"] = str(day)
        if self.content.name:
            config.site_name = escape(self.content.name)
        config.theme.dirs[:0] = [str(folder / "shell") for folder in self.folders]
        config.extra_css += [f"assets/styles/{name}" for name in template_files(self.folders, "styles")]
        for name in PAGE_SCRIPTS:
            script = ExtraScriptValue(f"assets/scripts/{name}")
            script.defer = True
            config.extra_javascript.append(script)
        # Both carry addresses from the server's root, wrong below a sub-path. A map of a site without an
        # address of its own would be empty besides.
        config.theme.static_templates.discard("404.html")
        if not config.site_url:
            config.theme.static_templates.discard(SITE_MAP)
        return config

    def on_files(self, files: Files, *, config: MkDocsConfig) -> Files:
        """Add our pages, downloads, styles and scripts to what mkdocs found by itself."""
        unfilled = files.get_file_from_path(SITE_MAP)  # a template that is not to be filled is copied as it is
        if unfilled is not None:
            files.remove(unfilled)
        for name, path in template_files(self.folders, "fixed").items():
            if files.get_file_from_path(name) is None:
                files.append(File.generated(config, name, abs_src_path=str(path)))
        for kind in ("styles", "scripts"):
            for name, path in template_files(self.folders, kind).items():
                _add(files, File.generated(config, f"assets/{kind}/{name}", abs_src_path=str(path)))
        if any(page.scripts for page in self.content.pages):
            script = str(plotly_script())
            _add(files, File.generated(config, "assets/scripts/plotly.min.js", abs_src_path=script))
        for name, content in self.content.files.items():
            _add(files, File.generated(config, name, content=content))
        for page in self.content.pages:
            source = page.path.removesuffix(".html") + ".md"
            file = File.generated(config, source, content="", inclusion=InclusionLevel.NOT_IN_NAV)
            file.dest_uri = page.path  # mkdocs would make index.html of a README
            _add(files, file)
            RecordPage(page, file, config)
        return files

    @event_priority(-100)
    def on_env(self, env: Environment, /, *, config: MkDocsConfig, files: Files) -> Environment:
        """Render one page of each kind and stamp the others: see stencil.py."""
        env.bytecode_cache = _COMPILED
        env.template_class = stamping_templates(_kind)
        return env

    def on_page_markdown(self, markdown: str, /, *, page: Page, config: MkDocsConfig, files: Files) -> None:
        """Let the search show what the records hold before the manual, whose examples may name the same sensor."""
        if page.file.src_uri.startswith("manual/"):
            page.meta["search"] = {"boost": 0.1}

    def on_page_context(
        self, context: TemplateContext, /, *, page: Page, config: MkDocsConfig, nav: Navigation
    ) -> TemplateContext:
        """Tell the template which list a record's page belongs to: the page `index.html` of its folder."""
        values: dict[str, Any] = context  # type: ignore[assignment]
        folder, _, name = page.file.dest_uri.rpartition("/")
        listed = {other.file.dest_uri: other for other in nav.pages}
        values["list_page"] = listed.get(f"{folder}/index.html") if name != "index.html" else None
        values["chart_scripts"] = ["plotly.min.js", *CHART_SCRIPTS]
        return context

    @event_priority(-100)
    def on_post_build(self, *, config: MkDocsConfig) -> None:
        """Publish when all else is written. A strict build that warned publishes nothing."""
        staged = self._staged
        assert staged is not None, "on_config stages the site before anything is written"
        try:
            if not (config.strict and _warned()):
                staged.publish()
        except Refusal as problem:
            raise Abort(str(problem)) from problem
        finally:
            self._let_go()
            config.site_dir = str(staged.site)

    def on_build_error(self, *, error: Exception) -> None:
        """Leave the published site as it was."""
        self._let_go()

    def on_serve(
        self, server: LiveReloadServer, /, *, config: MkDocsConfig, builder: Callable[..., None]
    ) -> LiveReloadServer:
        """Let `mkdocs serve` watch what `asfound serve` watches."""
        for folder in (Path(self.config.records), *self.folders):
            server.watch(str(folder))
        return server

    def _let_go(self) -> None:
        if self._staged is None:
            return
        self._staged.discard()
        self._staged = None
        if self._epoch_before is None:
            os.environ.pop("SOURCE_DATE_EPOCH", None)
        else:
            os.environ["SOURCE_DATE_EPOCH"] = self._epoch_before

    def _set_epoch(self, day: date) -> None:
        """What mkdocs stamps with the time gets the build's day (SOURCE_DATE_EPOCH, reproducible-builds.org)."""
        self._epoch_before = os.environ.get("SOURCE_DATE_EPOCH")
        midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
        os.environ["SOURCE_DATE_EPOCH"] = str(int(midnight.timestamp()))


class RecordPage(Page):
    """A page whose body is HTML already."""

    def __init__(self, content: SitePage, file: File, config: MkDocsConfig) -> None:
        super().__init__(escape(content.title, quote=False), file, config)
        self._body = content

    def read_source(self, config: MkDocsConfig) -> None:
        """There is no source to read; what its head would have said stands in `meta`."""
        self.markdown = ""
        self.meta = {
            "scripts": self._body.scripts,
            "search": {"exclude": not self._body.in_search},
            "hide": [] if self._body.headings else ["toc"],
        }

    def render(self, config: MkDocsConfig, files: Files) -> None:
        """Take the body as it is; the table of contents hangs below the page's one h1, as the theme expects."""
        body = self._body.body
        if self._body.in_search:
            body = CELL_ENDS.sub("\\g<0>\n", body)
        if "<h1" not in body:
            body = f'<h1 id="page-title">{self.title}</h1>\n{body}'
        own_id = re.search(r'<h1[^>]*\bid="([^"]+)"', body)
        top = AnchorLink(self.title or "", own_id.group(1) if own_id else "", 1)
        top.children = [AnchorLink(escape(text, quote=False), name, 2) for name, text in self._body.headings]
        self.content = body
        self.toc = TableOfContents([top])
        self.present_anchor_ids = {name for name, _ in self._body.headings} | {top.id}


def _kind(page: Page) -> object | None:
    """What pages must share to have the same shell around them; None for one that the navigation shows as open."""
    if not isinstance(page, RecordPage) or page.previous_page or page.next_page or page.parent:
        return None
    return page.file.dest_uri.rpartition("/")[0], page.meta["scripts"], bool(page.meta["hide"])


def refusal_text(refused: RecordsRefused, records: Path) -> str:
    """Every fault with its place as seen from where the user stands, and what has not been done."""
    try:
        folder = records.resolve().relative_to(Path.cwd().resolve())
    except ValueError:
        folder = records
    faults = [fault.text(prefix=f"{folder.as_posix()}/") for fault in refused.faults]
    return "\n".join([*faults, "Nothing is published while an error stands."])


def _own_templates(given: str | None, config: MkDocsConfig) -> Path | None:
    """The user's own templates: the folder that mkdocs.yml names, else `site_templates` beside it."""
    if given:
        return Path(given)
    beside = Path(config.config_file_path or ".").parent / "site_templates"
    return beside if beside.is_dir() else None


def _add(files: Files, file: File) -> None:
    if files.get_file_from_path(file.src_uri) is not None:
        clash = Refusal(f"{file.src_uri} is made by asfound and stands among the fixed pages too", "rename yours")
        raise Abort(str(clash)) from clash
    files.append(file)


def _warned() -> bool:
    handlers = logging.getLogger("mkdocs").handlers
    return any(handler.get_counts() for handler in handlers if isinstance(handler, CountHandler))
