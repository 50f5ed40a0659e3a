"""What references and families must declare of themselves: what nobody names would count as zero, or be assumed."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date
from typing import Any

from asfound.faults import Fault, reservation
from asfound.records.channels import Channel
from asfound.records.methods import METHODS, SENSOR_SOURCES
from asfound.records.models import ChannelDefaults, Known, Record, TimeConstant
from asfound.records.models.certified import ASSUMED_K
from asfound.records.models.references import QuantityRecord, Reference
from asfound.records.models.sensors import Family, Sensor
from asfound.records.rules.survey import RuleAcross, Survey

NOT_DECLARED = reservation(
    "not-declared", "a reference or family leaves out how large a usual error may be, or how its certificate is meant"
)
NOT_YET_KNOWN = reservation("not-yet-known", "what is known of an instrument's errors begins after a visit")


def sources_not_declared(survey: Survey) -> Iterator[Fault]:
    """A small U is earned by knowing the sources, not by leaving them out."""
    words = survey.rows.words("reference")
    in_air = survey.rows.own & survey.rows.shared_words("medium").among(("in air",))
    for name, reference in survey.records.references.items():
        used_in_air = bool((in_air & words.among((name,))).any())
        silent = list(_silent(reference, used_in_air))
        if silent:
            message = f"not declared, so counted as none: {'; '.join(silent)}"
            yield survey.fault(NOT_DECLARED, f"references/{name}.yml", ("kind",), message, _CURE)


_CURE = "declare each from a measurement, a certificate or the manual; write 0 with its unit where it is none"


def _silent(reference: Reference, used_in_air: bool) -> Iterator[str]:
    method = METHODS.get(reference.kind)
    if method:
        for key in (*method.usual_sources, *(method.in_air_sources if used_in_air else ())):
            if getattr(reference, key) is None and method.read_instead.get(key) not in reference.quantities:
                yield key
        for key, other in method.goes_with.items():
            declared = getattr(reference, key) or ()
            if any(entry.value for entry in declared) and getattr(reference, other) is None:
                yield f"{key}, which says nothing without {other}"
    without = [name for name, known in reference.calibrated.items() if known.calibrations[-1].drift is None]
    if without:
        yield f"drift since the newest calibration of {', '.join(without)}"


def known_later(survey: Survey) -> Iterator[Fault]:
    """What is known from a day on says nothing of the visits before: there it counts as none."""
    rows = survey.rows
    of_reference = {name: _begins(one) for name, one in survey.records.references.items()}
    reference = rows.words("reference")
    late = rows.own & reference.among([name for name, begins in of_reference.items() if begins])
    for part, row in rows.firsts(late):
        for name in dict.fromkeys(reference[r] for r in part.rows if late[r]):
            yield from _early(survey, row, "reference", name, of_reference[name], part.visit.day)
    instruments = (*survey.records.sensors.values(), *survey.records.families.values())
    keys = {key for one in instruments for key in _begins(one)}
    for _, row, sensor, settings in survey.visited(rows.own) if keys else ():
        begins = {key: first for key in keys if (first := _first_day(settings.whole(key))) is not None}
        yield from _early(survey, row, "sensor", sensor.id, begins, settings.day)


def _early(survey: Survey, row: int, column: str, name: str, begins: Mapping[str, date], day: date) -> Iterator[Fault]:
    late = [f"{key} from {first}" for key, first in sorted(begins.items()) if day < first]
    if late:
        message = f"of {name} is known {', '.join(late)}, so counted as none on {day}"
        cure = "add an entry from that day or earlier, or leave out the `from:` of the first"
        yield survey.rows.fault(NOT_YET_KNOWN, row, column, message, cure)


def _begins(record: Record) -> dict[str, date]:
    """First day of what is known of an instrument, where it was not always."""
    found = {key: _first_day(getattr(record, key)) for key in type(record).model_fields}
    return {key: day for key, day in found.items() if day is not None}


def _first_day(entries: Any) -> date | None:
    known = isinstance(entries, tuple) and entries and isinstance(entries[0], Known | ChannelDefaults | TimeConstant)
    return entries[0].from_ if known and entries[0].from_ != date.min else None


def certificates_not_read(survey: Survey) -> Iterator[Fault]:
    """What a certificate states beside its table is copied with it, never guessed."""
    for name, reference in survey.records.references.items():
        assumed = list(_assumed(reference))
        if assumed:
            message = f"not declared, so assumed: {'; '.join(assumed)}"
            cure = (
                "copy from the certificates: `k: 2` and `correlation:` of a calibration, `at: 100 kPa gauge` of a point"
            )
            yield survey.fault(NOT_DECLARED, f"references/{name}.yml", ("quantities",), message, cure)


def _assumed(reference: Reference) -> Iterator[str]:
    known = reference.quantities.items()
    without_k = [name for name, record in known if _without_k(record)]
    without_k += [cell.quantity for cell in reference.cells if any(c.k is None for c in cell.calibrations)]
    without_k += dict.fromkeys(component.name for component in reference.common if component.k is None)
    if without_k:
        yield f"k = {ASSUMED_K:g} of {', '.join(without_k)}"
    apart = [
        name for name, record in known if any(c.correlation is None and len(c.points) > 1 for c in record.calibrations)
    ]
    if apart:
        yield f"that the points' errors are common of {', '.join(apart)}"
    either = [
        name
        for name, record in known
        if name != "ambient_pressure"
        for calibration in record.calibrations
        if calibration.points and calibration.points[0].at.quantity == "pressure"
        if record.table_gauge(calibration) is None
    ]
    if either:
        yield f"that tables are of what is read, gauge or absolute, of {', '.join(dict.fromkeys(either))}"


def _without_k(record: QuantityRecord) -> bool:
    silent = [calibration for calibration in record.calibrations if calibration.k is None]
    return any(point.k is None for one in silent for point in (*one.points, *one.as_found))


def families_not_declared(survey: Survey) -> Iterator[Fault]:
    """The same of sensors under test: what neither their family nor they themselves say."""
    far = {
        channel: {part.sensor for part, _ in survey.rows.firsts(survey.rows.read(channel.declaration.far_end))}
        for channel in Channel
    }
    policies = () if "facility.yml" in survey.unread else survey.records.facility.policies
    rules = [(one.settling.least_soak, one.settling.largest_slope, one.settling.largest_left) for one in policies[-1:]]
    settled = not rules or any(rule is not None for rule in rules[0])
    silent: dict[str, dict[str, None]] = {}
    for name, sensor in survey.records.sensors.items():
        read_far = {channel.value for channel in Channel if name in far[channel]}
        for model in dict.fromkeys(installed.family for installed in sensor.installed):
            family = survey.records.families.get(model)
            if family is not None:
                found = silent.setdefault(model, {})
                found |= dict.fromkeys(_left_out(sensor, family, read_far, settled))
    for model, keys in silent.items():
        if keys:
            message = f"not declared, so counted as none: {'; '.join(keys)}"
            yield survey.fault(NOT_DECLARED, f"families/{model}.yml", ("model",), message, _CURE)


def _left_out(sensor: Sensor, family: Family, read_far: Collection[str], settled: bool) -> Iterator[str]:
    read_far = {*read_far} & {*(sensor.channels or family.channels or (Channel.HUMIDITY,))}
    for key in SENSOR_SOURCES:
        whole, _, part = key.partition(".")
        if (part == "far_end_dead_band" and whole not in read_far) or (key == "time_constant" and settled):
            continue
        given = getattr(sensor, whole)
        given = getattr(family, whole) if given is None else given
        if isinstance(given, tuple) and part:  # of what is known from days on, the newest
            given = given[-1]
        if (getattr(given, part, None) if part else given) is None:
            yield key


RULES: tuple[RuleAcross, ...] = (sources_not_declared, certificates_not_read, families_not_declared, known_later)
