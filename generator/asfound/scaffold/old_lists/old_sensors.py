"""An old list of sensors as records: a file for each, one for each model, and the places for facility.yml."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from asfound.faults import Fault
from asfound.scaffold.old_lists.lists import ListColumn, ListFile, ListRow, read_list

COLUMNS = (
    ListColumn(name="id", meaning="id of the measuring position, e.g. RH-101", required=True),
    ListColumn(name="name", meaning="what it measures, in words"),
    ListColumn(name="place", meaning="room, vault or hall", required=True),
    ListColumn(name="building", meaning="building that the place lies in"),
    ListColumn(name="position", meaning="where in the place"),
    ListColumn(name="model", meaning="model of the instrument", required=True),
    ListColumn(name="serial", meaning="serial number of the instrument", required=True),
    ListColumn(name="installed", meaning="day since which it serves there", is_day=True),
    ListColumn(name="signal", meaning="what stands at the sensor", choices=("direct", "current", "voltage")),
    ListColumn(name="signal_low", meaning="signal at the low end", quantities=("current", "voltage")),
    ListColumn(name="signal_high", meaning="signal at the high end", quantities=("current", "voltage")),
    ListColumn(name="reads_low", meaning="humidity at the low end", quantities=("humidity",)),
    ListColumn(name="reads_high", meaning="humidity at the high end", quantities=("humidity",)),
    ListColumn(
        name="tolerance",
        meaning="largest allowed |error|, e.g. tolerance [%RH]",
        quantities=("humidity",),
        required=True,
    ),
    ListColumn(name="lowest", meaning="lower end of its range", quantities=("humidity",)),
    ListColumn(name="highest", meaning="upper end of its range", quantities=("humidity",)),
    ListColumn(
        name="points", meaning="set points, e.g. 20; 50; 80 under points [%RH]", quantities=("humidity",), many=True
    ),
    ListColumn(name="interval", meaning="calendar months from one calibration to the next", plain_number=True),
    ListColumn(name="resolution", meaning="last digit of its own reading", quantities=("humidity",)),
    ListColumn(name="far_end_resolution", meaning="last digit of the building system", quantities=("humidity",)),
    ListColumn(
        name="repeatability",
        meaning="standard deviation of single readings at a settled point",
        quantities=("humidity",),
    ),
    ListColumn(name="hysteresis", meaning="full width between rising and falling", quantities=("humidity",)),
    ListColumn(name="working_humidity", meaning="humidity where it spends its time", quantities=("humidity",)),
    ListColumn(name="working_temperature", meaning="temperature where it spends its time", quantities=("temperature",)),
    ListColumn(name="criticality", meaning="what an undetected error would mean", choices=("high", "medium", "low")),
    ListColumn(name="controls", meaning="whether its reading drives the plant", choices=("yes", "no")),
    ListColumn(name="note", meaning="free text"),
)
"""What a list of sensors may hold, in the order that the help gives."""
_OF_MODEL = ("signal", "humidity", "tolerance", "scaling", "range", "points", "interval")
"""Keys that go to the model's file where all its sensors agree."""
_ID = re.compile(r"[A-Za-z][A-Za-z0-9]*(-[A-Za-z0-9]+)*")

Settings = dict[str, Any]


def slug(text: str) -> str:
    """Words as an id: `Drying room A` → `drying-room-a`; letters of other scripts are spelt as well as can be."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    parts = re.findall(r"[A-Za-z0-9]+", plain)
    joined = "-".join(parts).lower()[:40].strip("-")
    return joined if joined[:1].isalpha() else f"n-{joined}".strip("-")


def sensors_from(
    given: ListFile, first_days: Mapping[str, date], day_format: str | None = None
) -> tuple[dict[str, Settings], list[Settings], list[Fault]]:
    """Records by path (values as YAML holds them), places, faults.

    `first_days`: sensor → first day that the old results know of it, from which it serves where the list says nothing.
    """
    rows, faults = read_list(given, COLUMNS, day_format)
    seen: dict[str, int] = {}
    sensors: dict[str, Settings] = {}
    models: dict[str, list[str]] = {}
    spelt: dict[str, str] = {}
    places: dict[str, Settings] = {}
    for row in rows:
        name = row.word("id")
        if name:
            faults += _identity_faults(given, row, name, seen)
        seen[name] = row.line
        if "installed" not in row.cells and name not in first_days and name:
            cure = "add a column installed, or give the old results with --history"
            faults.append(given.fault(row.line, 0, f"nothing says since when {name} serves", cure))
        sensor = _sensor(row, first_days.get(name))
        sensors[name] = sensor
        models.setdefault(row.word("model"), []).append(name)
        place = slug(row.word("place"))
        known = places.setdefault(place, {"id": place, "name": row.word("place")})
        faults += _twin_faults(given, row, "place", known["name"])
        faults += _twin_faults(given, row, "model", spelt.setdefault(slug(row.word("model")), row.word("model")))
        if row.word("building"):
            known["building"] = row.word("building")
    if faults:
        return {}, [], faults
    files: dict[str, Settings] = {}
    for model, names in models.items():
        files[f"families/{slug(model)}.yml"] = _family(model, [sensors[name] for name in names])
    files |= {f"sensors/{name}.yml": sensor for name, sensor in sensors.items()}
    return files, list(places.values()), []


def _identity_faults(given: ListFile, row: ListRow, name: str, seen: Mapping[str, int]) -> Iterator[Fault]:
    if not _ID.fullmatch(name) or len(name) > 40:
        cure = "letters and digits, parted by single hyphens, at most 40, a letter first, e.g. RH-101"
        yield given.fault(row.line, 0, f"{name!r} cannot be an id", cure)
    twins = [known for known in seen if known.casefold() == name.casefold()]
    if twins:
        yield given.fault(row.line, 0, f"{name} stands in line {seen[twins[0]]} too", "give each its own id")


def _twin_faults(given: ListFile, row: ListRow, column: str, first: str) -> Iterator[Fault]:
    """Two names of one id would share one record, and the settings of the last would hold for both."""
    if row.word(column) not in ("", first):
        cure = "write them alike if they are one; else let them differ in letters a to z or digits"
        what = f"{column} {row.word(column)!r} has the same id as {first!r}: {slug(first)}"
        yield given.fault(row.line, 0, what, cure)


def _sensor(row: ListRow, first_day: date | None) -> Settings:
    since = row.cells.get("installed", first_day)
    scaling = {
        key: row.written(column)
        for key, column in (("low", "signal_low"), ("high", "signal_high"))
        if row.written(column)
    }
    if scaling:
        scaling |= {
            "reads_low": row.written("reads_low") or "0 %RH",
            "reads_high": row.written("reads_high") or "100 %RH",
        }
    humidity = {
        key: row.written(key)
        for key in ("resolution", "far_end_resolution", "repeatability", "hysteresis")
        if row.written(key)
    }
    months = row.cells.get("interval")
    points = row.written("points")
    sensor: Settings = {
        "id": row.word("id"),
        "name": row.word("name") or f"{row.word('place')}, {row.word('id')}",
        "place": {"place": slug(row.word("place")), "position": row.word("position") or None},
        "installed": [{"serial": row.word("serial"), "family": slug(row.word("model")), "from": str(since)}],
        "signal": row.word("signal") or ("direct" if not scaling else _signal_of(row)),
        "humidity": humidity or None,
        "tolerance": {"absolute": row.written("tolerance")},
        "scaling": scaling or None,
        "range": {"lowest": row.written("lowest") or "0 %RH", "highest": row.written("highest") or "100 %RH"},
        "points": {"humidity": points} if points else None,
        "interval": {"months": f"{months:.12g}"} if months is not None else None,
        "working_humidity": row.written("working_humidity"),
        "working_temperature": row.written("working_temperature"),
        "criticality": row.word("criticality") or None,
        "controls": {"yes": "true", "no": "false"}.get(row.word("controls")),
        "note": row.word("note") or None,
    }
    sensor["place"] = {key: value for key, value in sensor["place"].items() if value}
    return {key: value for key, value in sensor.items() if value is not None}


def _signal_of(row: ListRow) -> str:
    return "voltage" if row.units["signal_low"] in ("V", "mV") else "current"


def _family(model: str, sensors: Sequence[Settings]) -> Settings:
    """What all sensors of a model agree on, taken out of them."""
    family: Settings = {"model": slug(model), "name": model, "channels": ["humidity"]}
    for key in _OF_MODEL:
        values = [sensor.get(key) for sensor in sensors]
        if values[0] is not None and all(value == values[0] for value in values):
            family[key] = values[0]
            for sensor in sensors:
                del sensor[key]
    return family
