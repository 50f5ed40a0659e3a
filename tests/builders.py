"""Small sets of records for tests: complete and valid by default, so that a test says only what it is about.

Every record is a function that gives `{path: bytes}`; `records` puts them together:

    files = records(sensor(), two_pressure(), visit("2026-03-16-lab", plateau(50, [50.4, 50.5], generated(50))))

A key that is given replaces the default whole, `None` leaves it out. YAML is written as JSON, which is YAML. A
plateau is a list of rows; a row is a dict by header (`"output [%RH]"`). All that they hold is invented.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from asfound.assessment.assess import Assessment, assess
from asfound.assessment.results.table import Result
from asfound.humidity import saturation_pressure_for_rh
from asfound.records.load import Records, load

Files = dict[str, bytes]
Row = dict[str, Any]
Keys = dict[str, Any]

CALIBRATED = "2026-01-12"
"""Day on which every reference was calibrated, unless said otherwise."""
ROOM_PA = 101_325.0


def records(*parts: Files) -> Files:
    """A facility, its people, the family `rush`, and the parts; of two files with one path the later stands."""
    files = facility() | people() | family()
    for part in parts:
        files |= part
    return files


def facility(**keys: Any) -> Files:
    """One place; results are judged with the guard band w = U."""
    wording = {
        "laboratory": "Alder seed store, 1 Mill Lane, Alderby",
        "customer": "Alder seed store",
        "method": "Humidity sensors in place",
        "method_version": "1",
    }
    default = {
        "name": "Alder seed store",
        "address": "1 Mill Lane, Alderby",
        "time_zone": "UTC",
        "places": [{"id": "lab", "name": "Laboratory"}],
        "policies": {"rule": "guard_band"},
        "certificate": wording,
    }
    return _yaml("facility.yml", default, keys)


def people(*others: Keys) -> Files:
    """Ann calibrates, Ben approves and decides; `others`: each a `person`."""
    everyone = [
        person("ann", "Ann Tansy", "calibrate"),
        person("ben", "Ben Sedge", "approve", "decide"),
        *others,
    ]
    return _yaml("people.yml", {"people": everyone}, {})


def person(name: str, full_name: str, *may: str, **keys: Any) -> Keys:
    """Someone who may do this from the beginning on."""
    default = {"id": name, "name": full_name, "emails": [f"{name}@alder.example"], "may": list(may)}
    return _without_none({**default, "from": "2000-01-01", **keys})


def family(model: str = "rush", **keys: Any) -> Files:
    """A model with its own display of 0.01 %RH, repeatability 0.05 %RH, tolerance ± 2 %RH, due every 12 months."""
    default = {
        "model": model,
        "name": "Humidity sensor",
        "signal": "direct",
        "channels": ["humidity"],
        "humidity": {"resolution": "0.01 %RH", "repeatability": "0.05 %RH"},
        "tolerance": {"absolute": "2 %RH"},
        "range": {"lowest": "0 %RH", "highest": "100 %RH"},
        "points": {"humidity": ["20 %RH", "50 %RH", "80 %RH"]},
        "interval": {"months": 12},
    }
    return _yaml(f"families/{model}.yml", default, keys)


def sensor(name: str = "RH-1", **keys: Any) -> Files:
    """A position with one instrument of the family `rush`."""
    default = {
        "id": name,
        "name": "Air of the store",
        "place": {"place": "lab"},
        "installed": [{"serial": f"{name}-A", "family": "rush", "from": "2000-01-01"}],
    }
    return _yaml(f"sensors/{name}.yml", default, keys)


def reference(name: str, kind: str, quantities: Keys, **keys: Any) -> Files:
    """A reference standard of a kind with its quantities."""
    default = {"id": name, "kind": kind, "name": kind.replace("_", " "), "serial": f"{name}-A"}
    return _yaml(f"references/{name}.yml", {**default, "quantities": quantities}, keys)


def quantity(*calibrations: Keys, **keys: Any) -> Keys:
    """What is known of one quantity of a reference."""
    return _without_none({"calibrations": list(calibrations), **keys})


def calibration(*points: Keys, on: str = CALIBRATED, **keys: Any) -> Keys:
    """A laboratory's calibration, valid for two years; its table is declared as error."""
    default = {
        "date": on,
        "laboratory": "Birch metrology",
        "certificate": f"C-{on}",
        "valid_until": f"{int(on[:4]) + 2}{on[4:]}",
        "declared": "error",
        "points": list(points),
    }
    return _without_none({**default, **keys})


def by_visit(visit_id: str, **keys: Any) -> Keys:
    """A calibration by a visit in these records."""
    on = visit_id[:10]
    default = {"date": on, "valid_until": f"{int(on[:4]) + 2}{on[4:]}", "from_visit": visit_id}
    return _without_none({**default, **keys})


def point(at: str, value: str, U: str, k: float = 2.0) -> Keys:
    """One line of a certificate's table."""
    return {"at": at, "value": value, "U": U, "k": k}


def flat(lowest: float, highest: float, unit: str, U: float, value: float = 0.0, **keys: Any) -> Keys:
    """A quantity whose certificate says the same of two points, with a fine display."""
    ends = [point(f"{at:g} {unit}", f"{value:g} {unit}", f"{U:g} {unit}") for at in (lowest, highest)]
    known = {"resolution": f"{U / 100:g} {unit}"}
    in_calibration = {
        key: keys.pop(key) for key in ("on", "drift", "declared", "correlation", "valid_until") if key in keys
    }
    return quantity(calibration(*ends, **in_calibration), **{**known, **keys})


def two_pressure(name: str = "GEN-01", quantities: Keys | None = None, **keys: Any) -> Files:
    """A two-pressure humidity generator; `quantities` replaces some of its quantities."""
    default = {
        "saturation_pressure": flat(0, 1500, "kPa", 0.4),
        "saturation_temperature": flat(-20, 60, "degC", 0.03),
        "chamber_pressure": flat(0, 150, "kPa", 0.06),
        "chamber_temperature": flat(-20, 60, "degC", 0.03),
    }
    return reference(name, "two_pressure", {**default, **(quantities or {})}, **keys)


def chilled_mirror(name: str = "MIR-01", quantities: Keys | None = None, **keys: Any) -> Files:
    """A chilled mirror with its own pressure readings."""
    default = {
        "mirror_temperature": flat(-40, 60, "degC", 0.1),
        "chamber_temperature": flat(-40, 60, "degC", 0.05),
        "chamber_pressure": flat(50, 150, "kPa", 0.1),
        "mirror_pressure": flat(50, 150, "kPa", 0.1),
    }
    return reference(name, "chilled_mirror", {**default, **(quantities or {})}, **keys)


def saturated_salt(name: str = "SALT-01", **keys: Any) -> Files:
    """Cells with three salts."""
    quantities = {"chamber_temperature": flat(0, 60, "degC", 0.1)}
    return reference(name, "saturated_salt", quantities, **{"salts": ["LiCl", "NaCl", "K2SO4"], **keys})


def transfer_probe(name: str = "PROBE-01", quantities: Keys | None = None, **keys: Any) -> Files:
    """A transfer probe for humidity and temperature, with a thermometer for the air at the sensor."""
    default = {
        "reference_humidity": flat(5, 95, "%RH", 0.6),
        "reference_temperature": flat(0, 60, "degC", 0.1),
        "air_temperature": flat(0, 60, "degC", 0.1),
    }
    return reference(name, "transfer_probe", {**default, **(quantities or {})}, **keys)


def loop_meter(name: str = "METER-01", quantities: Keys | None = None, **keys: Any) -> Files:
    """A meter for loop currents and voltages."""
    default = {"current": flat(0, 25, "mA", 0.01), "voltage": flat(0, 12, "V", 0.004)}
    return reference(name, "loop_meter", {**default, **(quantities or {})}, **keys)


def barometer(name: str = "BAR-01", quantities: Keys | None = None, **keys: Any) -> Files:
    """A barometer."""
    default = {"ambient_pressure": flat(80, 110, "kPa", 0.05)}
    return reference(name, "barometer", {**default, **(quantities or {})}, **keys)


def finding(sensor_id: str, visit_id: str, **keys: Any) -> Files:
    """What was decided about an out-of-tolerance result."""
    return _yaml(f"findings/{sensor_id}/{visit_id}.yml", {"sensor": sensor_id, "visit": visit_id, "owner": "ben"}, keys)


def generated(
    rh: float,
    saturation_c: float = 25.0,
    chamber_c: float = 25.0,
    chamber_pa: float = ROOM_PA,
    *,
    gauge: bool = False,
    reference: str = "GEN-01",
) -> Row:
    """Readings of a two-pressure humidity generator that gives this humidity; `gauge`: with a barometer's beside."""
    saturation_pa = float(saturation_pressure_for_rh(rh, saturation_c, chamber_pa, chamber_c))
    kind, zero = ("gauge", ROOM_PA) if gauge else ("absolute", 0.0)
    row: Row = {
        "reference": reference,
        f"saturation_pressure [kPa {kind}]": round((saturation_pa - zero) / 1e3, 4),
        "saturation_temperature [degC]": saturation_c,
        f"chamber_pressure [kPa {kind}]": round((chamber_pa - zero) / 1e3, 4),
        "chamber_temperature [degC]": chamber_c,
    }
    return row | (room() if gauge else {})


def mirrored(
    mirror_c: float, chamber_c: float, condensate: str, chamber_pa: float = ROOM_PA, mirror_pa: float | None = None
) -> Row:
    """Readings of a chilled mirror."""
    row: Row = {
        "reference": "MIR-01",
        "mirror_temperature [degC]": mirror_c,
        "condensate": condensate,
        "chamber_temperature [degC]": chamber_c,
        "chamber_pressure [kPa absolute]": round(chamber_pa / 1e3, 4),
    }
    return row if mirror_pa is None else row | {"mirror_pressure [kPa absolute]": round(mirror_pa / 1e3, 4)}


def over_salt(salt: str, solution_c: float = 25.0) -> Row:
    """Readings over a saturated salt."""
    return {"reference": "SALT-01", "salt": salt, "chamber_temperature [degC]": solution_c, "medium": "salt cell"}


def by_probe(rh: float, probe_c: float = 23.0, air_c: float | None = None) -> Row:
    """Readings of a transfer probe: in the chamber, or in the air beside a sensor at `air_c`."""
    row: Row = {"reference": "PROBE-01", "reference_humidity [%RH]": rh, "reference_temperature [degC]": probe_c}
    return row if air_c is None else row | {"medium": "in air", "air_temperature [degC]": air_c} | room()


def room(pressure_pa: float = ROOM_PA, barometer: str = "BAR-01") -> Row:
    """The room's pressure, and what read it."""
    return {"ambient_pressure [kPa absolute]": round(pressure_pa / 1e3, 4), "barometer": barometer}


def plateau(
    target: float,
    outputs: Sequence[Any],
    reading: Row,
    *,
    sensor: str = "RH-1",
    phase: str = "as_found",
    unit: str = "%RH",
    soak: float | None = 30,
    **columns: Any,
) -> list[Row]:
    """One reading of the sensor a minute at one target; `columns`: further columns, one value or one for each row."""
    rows = []
    for number, output in enumerate(outputs):
        row: Row = {"sensor": sensor, "phase": phase, "target [%RH]": target, "technician": "ann"}
        row |= {"soak [min]": soak if number == 0 else None, f"output [{unit}]": output} | reading
        for name, value in columns.items():
            header = COLUMN_UNITS.get(name, name)
            row[header] = value[number] if isinstance(value, list | tuple) else value
        rows.append(row)
    return rows


COLUMN_UNITS = {
    "far_end": "far_end [%RH]",
    "output_temperature": "output_temperature [degC]",
    "far_end_temperature": "far_end_temperature [degC]",
    "room_temperature": "room_temperature [degC]",
}


def adjusted(kind: str = "span", sensor: str = "RH-1") -> list[Row]:
    """The instrument was changed here."""
    event = {"adjustment": kind, "from": "before", "to": "after", "technician": "ann"}
    return [{"sensor": sensor, "phase": "adjusted", **event}]


def not_done(target: float, why: str = "door locked", sensor: str = "RH-1", phase: str = "as_found") -> list[Row]:
    """A point that was not done."""
    return [{"sensor": sensor, "phase": phase, "target [%RH]": target, "technician": "ann", "note": why}]


def stated(
    target: float,
    error: float,
    U: float,
    k: float | None = 2.0,
    nu: float | None = None,
    sensor: str = "RH-1",
    phase: str = "as_found",
) -> list[Row]:
    """Another laboratory's result."""
    numbers = {
        "stated_reference [%RH]": target,
        "stated_error [%RH]": error,
        "stated_U [%RH]": U,
        "stated_k": k,
        "stated_nu": nu,
    }
    return [{"sensor": sensor, "phase": phase, "target [%RH]": target, "technician": "ann", **numbers}]


def visit(visit_id: str, *plateaus: Iterable[Row], revision: int = 1, hour: int = 8) -> Files:
    """A visit; rows without a time follow each other by a minute, plateaus by ten, from an hour on."""
    rows: list[Row] = []
    minute = hour * 60
    for plateau_rows in plateaus:
        for row in plateau_rows:
            rows.append({"time": f"{visit_id[:10]} {minute // 60:02d}:{minute % 60:02d}"} | row)
            minute += 1
        minute += 10
    header = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([["" if row.get(name) is None else row[name] for name in header] for row in rows])
    ending = "" if revision == 1 else f".r{revision}"
    return {f"visits/{visit_id[:4]}/{visit_id}{ending}.csv": text.getvalue().encode()}


def loaded(files: Files) -> Records:
    """The records, which must hold no fault by themselves."""
    found, faults = load(files)
    assert found is not None and not faults, "\n".join(fault.text() for fault in faults)
    return found


def assessed(files: Files, day: str = "2026-12-31") -> Assessment:
    """The whole assessment on a day."""
    return assess(files, date.fromisoformat(day))


def results(files: Files, day: str = "2026-12-31") -> tuple[Result, ...]:
    """All results, in order."""
    return assessed(files, day).results


def _yaml(path: str, default: Keys, keys: Keys) -> Files:
    return {path: json.dumps(_without_none({**default, **keys}), indent=1, ensure_ascii=False).encode()}


def _without_none(keys: Keys) -> Keys:
    return {key: value for key, value in keys.items() if value is not None}
