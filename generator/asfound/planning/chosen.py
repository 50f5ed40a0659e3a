"""Whom a question about targets is about: the sensor by its id, and the reference that it will be read against."""

from __future__ import annotations

from datetime import date

from asfound.faults import did_you_mean
from asfound.planning.usual import usual, usual_at
from asfound.records.load import Records
from asfound.records.methods import METHODS
from asfound.records.models import Reference, Sensor
from asfound.records.settings_in_force import SettingsOn
from asfound.refusals import Refusal


def sensor_of(records: Records, sensor: str) -> Sensor:
    """A sensor by its id. Raises Refusal with what may have been meant."""
    if sensor not in records.sensors:
        hint = did_you_mean(sensor, records.sensors)
        raise Refusal(f"there is no sensor {sensor!r}", f"give the id of a file in sensors/{hint}")
    return records.sensors[sensor]


def reference_of(records: Records, sensor: Sensor, day: date, wanted: str | None) -> Reference:
    """The reference for a sensor: the wanted one, the one it was last read against, its neighbours' or the only one.

    Raises Refusal where there is none, or no telling which.
    """
    known = [name for name, reference in records.references.items() if reference.kind in METHODS]
    before = usual(records, sensor.id, day) or usual_at(records, SettingsOn(records, sensor, day).place.place, day)
    chosen = wanted or (before.reference if before and before.reference in known else None)
    if chosen is None:
        making = [name for name in known if METHODS[records.references[name].kind].makes_humidity]
        only = making if len(making) == 1 else known
        if len(only) != 1:
            raise Refusal(
                f"neither {sensor.id} nor its neighbours were ever read here, and there are {len(known)} references",
                f"name one with --reference{': ' + ', '.join(known) if known else ''}",
            )
        chosen = only[0]
    if chosen not in known:
        hint = did_you_mean(chosen, known)
        what = f"{chosen!r} gives no humidity" if chosen in records.references else f"there is no reference {chosen!r}"
        raise Refusal(what, f"use one of {', '.join(known)}{hint}")
    return records.references[chosen]
