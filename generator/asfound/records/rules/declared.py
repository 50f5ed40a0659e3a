"""What references and families must declare of themselves: what nobody names would count as zero, or be assumed."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from asfound.faults import Fault, reservation
from asfound.records.channels import Channel
from asfound.records.methods import METHODS, SENSOR_SOURCES
from asfound.records.models.references import ASSUMED_K, QuantityRecord, Reference
from asfound.records.models.sensors import Family, Sensor
from asfound.records.rules.survey import RuleAcross, Survey

NOT_DECLARED = reservation(
    "not-declared", "a reference or family leaves out how large a usual error may be, or how its certificate is meant"
)


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
            if getattr(reference, key) and getattr(reference, other) is None:
                yield f"{key}, which says nothing without {other}"
    without = [name for name, known in reference.quantities.items() if known.calibrations[-1].drift is None]
    if without:
        yield f"drift since the newest calibration of {', '.join(without)}"


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
        if (getattr(given, part, None) if part else given) is None:
            yield key


RULES: tuple[RuleAcross, ...] = (sources_not_declared, certificates_not_read, families_not_declared)
