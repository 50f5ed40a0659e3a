"""The form of a finding as a PDF: what is known, what is on file, and blanks to fill in, sign and attach.

Typeset like a certificate and marked as none; the same bytes from the same records, whatever the day.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from asfound.assessment.findings.cases import Case
from asfound.faults import Fault, RecordsRefused
from asfound.printing.text import PAPERS, clean
from asfound.printing.typst import printing
from asfound.printing.unprintable import Unprintable, unprintable_faults
from asfound.site.lookup.lookup import Lookup
from asfound.site.views.findings import CaseView, case_view
from asfound.wording import cautions
from asfound.wording.words import Fact

BASIS = (
    "This form is no certificate. It puts together what the records tell of a sensor that was found out of tolerance, "
    "for whoever decides about the goods."
)


def forms(lookup: Lookup, templates: tuple[Path, ...]) -> Mapping[str, bytes]:
    """The form of every finding by its path in the site; `templates` as for certificates.

    Raises RecordsRefused where a record holds a character that cannot be printed, and Refusal where the
    template does not compile.
    """
    files: dict[str, bytes] = {}
    faults: list[Fault] = []
    if not lookup.assessment.cases:
        return files
    with printing(templates) as printer:
        for case in lookup.assessment.cases:
            page = clean(form_page(lookup, case, case_view(lookup, case)))
            try:
                files[form_path(case)] = printer.typeset("finding.typ", {"page": json.dumps(page)}, page)
            except Unprintable as problem:
                faults += unprintable_faults(lookup.records.files, _paths(lookup, case), problem)
    if faults:
        raise RecordsRefused(faults)
    return files


def form_path(case: Case) -> str:
    """Where the form of a finding is published, inside the site."""
    return f"findings/{case.sensor}/{case.visit}.form.pdf"


def form_page(lookup: Lookup, case: Case, view: CaseView) -> dict[str, Any]:
    """What the template sets: strings, and lists and dictionaries of them."""
    year, month, day = str(case.day).split("-")
    exposure = view.exposure
    about = [["Sensor", f"{case.sensor}, {view.row.name}"], ["Place", view.place], ["Visit", case.visit]]
    known = [*about, *([fact.name, fact.value] for fact in view.known)]
    filed = [[fact.name, fact.value] for fact in view.filed] + [[f"Told on {f.name}", f.value] for f in view.told]
    return {
        "paper": PAPERS[lookup.records.facility.paper],
        "title": f"Finding: {case.sensor}, out of tolerance on {case.day}",
        "facility": lookup.records.facility.name,
        "subject": f"{case.sensor}, serial number {case.worst.serial}, visit {case.visit}",
        "date": {"year": year, "month": month, "day": day},
        "basis": BASIS,
        "facts": [*known, ["What it meant", view.meaning], ["Decision rule", view.rule]],
        "since": list(exposure.since) if exposure else [],
        "size": list(exposure.size) if exposure else [],
        "hours": [row for fact in exposure.hours for row in _rows(fact)] if exposure else [],
        "meaning": exposure.meaning if exposure else "",
        "said": list(exposure.said) if exposure else [],
        "neighbours": [[n.sensor.text, n.left, n.found, n.difference] for n in exposure.neighbours] if exposure else [],
        "compared": exposure.compared if exposure else "",
        "filed": filed,
        "caution": cautions.IN_SHORT,
        "closing": f"Filled in and signed, it is attached, and what it says is written to records/{view.path}: "
        "a finding closes only there.",
    }


def _rows(fact: Fact) -> list[list[str]]:
    """A fact's row, and a second for its note."""
    return [[fact.name, fact.value], *([["", fact.note]] if fact.note else [])]


def _paths(lookup: Lookup, case: Case) -> list[str]:
    """The records whose words the form prints."""
    neighbours = case.exposure.neighbours if case.exposure else ()
    named = [f"sensors/{name}.yml" for name in (case.sensor, *(n.sensor for n in neighbours))]
    finding = f"findings/{case.sensor}/{case.visit}.yml"
    found = [finding, *named, "people.yml", "facility.yml"]
    return [path for path in found if path in lookup.records.files]
