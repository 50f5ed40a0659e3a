"""All of a site's content from a folder of records: assessed, viewed, put on pages, with its downloads."""

from __future__ import annotations

import hashlib
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path

from asfound.assessment.assess import assess
from asfound.certificates.print_all import certificates
from asfound.certificates.traceability import Traceability
from asfound.planning.calendar_file import rounds_calendar
from asfound.planning.rounds import Round
from asfound.printing.templates import template_folders
from asfound.provenance import HistoryOf
from asfound.records.snapshot import Snapshot, from_folder
from asfound.refusals import Refusal
from asfound.site.lookup.lookup import Lookup, finding_link, look_up, reference_link, sensor_link, visit_link
from asfound.site.publishing.content import SiteContent, SitePage
from asfound.site.publishing.declared_packages import third_party
from asfound.site.publishing.downloads import downloads
from asfound.site.publishing.finding_form import form_path, forms
from asfound.site.publishing.pages import Pages
from asfound.site.views.data import data
from asfound.site.views.drift import drift_page
from asfound.site.views.findings import case_rows, case_view
from asfound.site.views.issued import CertificateLine, certificate_lines
from asfound.site.views.method import method
from asfound.site.views.overview import overview
from asfound.site.views.references import reference_states, reference_view
from asfound.site.views.rounds import planned_rounds
from asfound.site.views.schedule import CALENDAR, schedule
from asfound.site.views.sensors import sensor_rows, sensor_view
from asfound.site.views.visits import visit_rows, visit_view

PUBLISHED_VALUES = "published_values.csv"

Say = Callable[[str], None]


def site_content(records: Path, day: date, templates: Path, say: Say | None = None) -> SiteContent:
    """Pages and files of the site of `records` on a day.

    The same from the same records, templates, code, day and history of the commit that is checked out.

    `templates`: a folder of templates whose files stand in for those that came with us. `say` is told what is being
    done (by default on stderr). Raises RecordsRefused where the records hold errors, or a character that cannot be
    printed, and Refusal where a certificate's template does not compile, two records would have one page, or the
    history was cut off.
    """
    say = say or _to_stderr
    started = time.monotonic()
    files = from_folder(records)
    say(f"reading and assessing {len(files)} records")
    history = HistoryOf(records)
    assessment = assess(files, day, history)
    say(f"assessed {len(assessment.results)} results in {time.monotonic() - started:.1f} s")
    folders = template_folders(templates)
    lookup = look_up(assessment, history.of(assessment.records))
    printed = certificates(
        assessment,
        folders,
        progress=lambda done, of: say(f"printed {done} of {of} certificates"),
        again=lookup.disagreements,
    )
    content = content_of(files, lookup, folders, {**printed, **forms(lookup, folders)})
    say(f"wrote {len(content.pages)} pages in {time.monotonic() - started:.1f} s")
    return content


def _to_stderr(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def content_of(files: Snapshot, lookup: Lookup, folders: tuple[Path, ...], printed: Mapping[str, bytes]) -> SiteContent:
    """Pages and files from what is assessed and printed already; `printed`: certificates and forms by path in the site.

    Raises Refusal where two records would have one page.
    """
    planned = planned_rounds(lookup)
    made = datetime(lookup.day.year, lookup.day.month, lookup.day.day, tzinfo=UTC)
    calendar = {CALENDAR: rounds_calendar(lookup.records.facility, made, planned)}
    published = {**downloads(files, lookup), **calendar, **printed}
    pages = tuple(_pages(lookup, published, folders, planned))
    try:
        return SiteContent(pages=pages, files=published, name=lookup.records.facility.name)
    except ValueError as problem:  # a sensor or reference called index
        cure = "give the sensor, reference or visit another id"
        raise Refusal(str(problem), cure) from None


def _pages(
    lookup: Lookup, files: Mapping[str, bytes], folders: tuple[Path, ...], planned: Sequence[Round]
) -> Iterator[SitePage]:
    pages = Pages(folders)

    def certificates_of(sensor: str, visit: str) -> tuple[CertificateLine, ...]:
        return certificate_lines(lookup, files, sensor, visit)

    yield pages.page("index.html", "Overview", "overview.html", overview(lookup))
    yield pages.page("sensors/index.html", "Sensors", "sensors.html", sensor_rows(lookup))
    for name, standing in lookup.assessment.standings.items():
        sensor = sensor_view(lookup, standing, certificates_of)
        title = f"{name} {sensor.name}"
        yield pages.page(sensor_link(name).path, title, "sensor.html", sensor, charts=sensor.has_charts)
    yield pages.page("visits/index.html", "Visits", "visits.html", visit_rows(lookup))
    trace = Traceability(lookup.assessment)
    for name in lookup.visits:
        visit = visit_view(lookup, name, trace, certificates_of)
        yield pages.page(visit_link(name).path, name, "visit.html", visit, in_search=False, charts=visit.has_charts)
    yield pages.page("references/index.html", "References", "references.html", reference_states(lookup))
    for name, reference in sorted(lookup.records.references.items()):
        title = f"{name} {reference.name}"
        view = reference_view(lookup, reference)
        yield pages.page(reference_link(name).path, title, "reference.html", view, charts=view.has_charts)
    yield pages.page("schedule.html", "Schedule", "schedule.html", schedule(lookup, planned))
    fleet = drift_page(lookup)
    yield pages.page("drift.html", "Drift", "drift.html", fleet, charts=fleet.has_charts)
    yield pages.page("findings/index.html", "Findings", "findings.html", case_rows(lookup))
    for case in lookup.assessment.cases:
        path, title = finding_link(case).path, f"Finding {case.sensor}, {case.day}"
        finding = case_view(lookup, case, form_path(case) if form_path(case) in files else None)
        yield pages.page(path, title, "finding.html", finding, charts=finding.has_charts)
    yield pages.page("method.html", "Method", "method.html", method(lookup, _published_values(folders)))
    yield pages.page("data/index.html", "Data", "data.html", _data(lookup, files))


def _published_values(folders: tuple[Path, ...]) -> bytes:
    return next(path for folder in folders if (path := folder / PUBLISHED_VALUES).is_file()).read_bytes()


def _data(lookup: Lookup, files: Mapping[str, bytes]) -> object:
    return data(
        lookup,
        files=files,
        records_hash=hashlib.sha256(files["data/records.sha256"]).hexdigest(),
        licences=third_party(),
    )
