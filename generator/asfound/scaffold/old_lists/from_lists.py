"""A new facility made of an old spreadsheet: its sensors, and its old results where they are given."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from ruamel.yaml import YAML

from asfound.assessment.assess import check
from asfound.faults import Fault, FilesRefused, Severity
from asfound.scaffold.facility.empty_facility import empty_facility
from asfound.scaffold.old_lists.lists import ListFile
from asfound.scaffold.old_lists.old_results import results_from
from asfound.scaffold.old_lists.old_sensors import Settings, sensors_from

RECORDS = "records/"
_EXAMPLES = re.compile(r"records/(families|sensors)/.*\.yml|example/.*")
_PLACES = re.compile(r"^places:\n(?:  - .*\n)+", re.M)


@dataclass(frozen=True, kw_only=True)
class Brought:
    """Files of the new folder, and what they hold of the lists."""

    files: Mapping[str, bytes]
    sensors: int
    models: int
    places: int
    visits: int
    reservations: int


def facility_from_lists(sensors: ListFile, history: ListFile | None = None, day_format: str | None = None) -> Brought:
    """The empty facility with these sensors in place of its example. Raises FilesRefused, with all faults."""
    visits: dict[str, bytes] = {}
    first_days: dict[str, date] = {}
    faults: list[Fault] = []
    if history is not None:
        visits, first_days, faults = results_from(history, None, day_format)
    records, places, more = sensors_from(sensors, first_days, day_format)
    if history is not None and not more:
        names = [path.removeprefix("sensors/").removesuffix(".yml") for path in records if path.startswith("sensors/")]
        _, _, faults = results_from(history, names, day_format)
    if faults or more:
        raise FilesRefused([*faults, *more])
    files = {path: content for path, content in empty_facility().items() if not _EXAMPLES.fullmatch(path)}
    facility = files[f"{RECORDS}facility.yml"].decode()
    assert _PLACES.search(facility), "the empty facility has places"
    listed = _yaml({"places": places})
    files[f"{RECORDS}facility.yml"] = _PLACES.sub(lambda _: listed, facility).encode()
    for path, settings in records.items():
        files[RECORDS + path] = f"# From {sensors.path}: complete it (manual: Records).\n{_yaml(settings)}".encode()
    files |= {RECORDS + path: content for path, content in visits.items()}
    found = check(
        {path.removeprefix(RECORDS): c for path, c in files.items() if path.startswith(RECORDS) and "/." not in path}
    )
    errors = [fault for fault in found if fault.rule.severity is Severity.ERROR]
    if errors:
        raise FilesRefused(errors)
    return Brought(
        files=dict(sorted(files.items())),
        sensors=sum(path.startswith("sensors/") for path in records),
        models=sum(path.startswith("families/") for path in records),
        places=len(places),
        visits=len(visits),
        reservations=len(found),
    )


def _yaml(settings: Settings) -> str:
    """As a person would write it: one setting a line, short lists in brackets."""
    writer = YAML()
    writer.default_flow_style = None
    writer.width = 110
    text = io.StringIO()
    writer.dump(settings, text)
    return text.getvalue()
