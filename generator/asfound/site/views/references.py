"""Reference standards: in date or not on the day, calibrations link by link, checks, and what leans on them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from asfound.assessment.references.doubt import REFERENCE_IN_DOUBT
from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.certificates.wording import KINDS
from asfound.records.models import Channel, Reference
from asfound.site.charts.trends import check_chart
from asfound.site.lookup.lookup import Lookup, reference_link, visit_link
from asfound.site.views.calibrations import (
    IN_DATE,
    OUT_OF_DATE,
    QuantityView,
    quantity_view,
    quantity_words,
)
from asfound.site.views.results import status_chip
from asfound.site.views.retraces import RetraceBlock, in_question, retrace_block
from asfound.wording import words
from asfound.wording.words import Chip, Fact, Link

RUNS_OUT = Chip(word="runs out soon", kind="due")
NOT_CALIBRATED = Chip(word="not calibrated yet", kind="overdue")
AWAY = Chip(word="away", kind="off")
CHECK_FAILED = Chip(word="last check failed", kind="out")
IN_QUESTION = Chip(word="verdicts in question", kind="close")


@dataclass(frozen=True, kw_only=True)
class ReferenceState:
    """One line of the list: where a reference stands on the day."""

    link: Link
    kind: str
    name: str
    serial: str
    chips: tuple[Chip, ...]
    valid_until: str
    runs_out: date | None
    sentence: str
    needs_action: bool
    last_check: str
    check_chip: Chip | None
    check_link: Link | None


@dataclass(frozen=True, kw_only=True)
class CheckRow:
    """One point of a check between calibrations."""

    visit: Link
    point: str
    against: Link
    error: str
    limit: str
    chip: Chip | None


@dataclass(frozen=True, kw_only=True)
class DoubtRow:
    """One visit with results that leaned on the reference while it was in doubt."""

    visit: Link
    why: str


@dataclass(frozen=True, kw_only=True)
class LeaningRow:
    """One visit whose results lean on the reference."""

    visit: Link
    sensors: tuple[Link, ...]
    calibrations: str
    results: int


@dataclass(frozen=True, kw_only=True)
class ReferenceView:
    """Everything on a reference's page."""

    state: ReferenceState
    facts: tuple[Fact, ...]
    common: tuple[Fact, ...]
    quantities: tuple[QuantityView, ...]
    checks: tuple[CheckRow, ...]
    check_chart: str | None
    check_sentence: str
    doubts: tuple[DoubtRow, ...]
    """newest visit first"""
    retrace: RetraceBlock | None
    leaning: tuple[LeaningRow, ...]
    leaning_results: int
    carries: tuple[Link, ...]
    """references that were calibrated here with this one"""
    away: tuple[str, ...]
    note: str
    path: str

    @property
    def has_charts(self) -> bool:
        """Whether the page draws."""
        return self.check_chart is not None


def reference_states(lookup: Lookup) -> tuple[ReferenceState, ...]:
    """All references by id."""
    return tuple(reference_state(lookup, r) for _, r in sorted(lookup.records.references.items()))


def reference_state(lookup: Lookup, reference: Reference) -> ReferenceState:
    """Whether a reference may be used on the day: the calibration of each quantity that is in force then."""
    current = {name: quantity.newest_calibration(lookup.day) for name, quantity in reference.calibrated.items()}
    missing = [name for name, calibration in current.items() if calibration is None]
    ends = [c.valid_until for c in current.values() if c is not None]
    first_end = min(ends, default=None)
    soon = _due_soon_days(lookup)
    away = [a for a in reference.away if a.holds(lookup.day)]
    if missing:
        chip, sentence = NOT_CALIBRATED, f"no calibration of {words.listed(map(quantity_words, missing))} on record"
    elif first_end is not None and first_end < lookup.day:
        late = [quantity_words(name) for name, c in current.items() if c is not None and c.valid_until < lookup.day]
        chip, sentence = OUT_OF_DATE, f"calibration of {words.listed(late)} ran out on {first_end}"
    elif first_end is not None and first_end <= lookup.day + timedelta(days=soon):
        chip, sentence = RUNS_OUT, f"runs out on {first_end}"
    else:
        chip, sentence = IN_DATE, f"in date until {first_end}"
    checks = _check_results(lookup, reference)
    last = [r for r in checks if r.visit == checks[-1].visit] if checks else []
    largest = max(last, key=lambda r: r.badness) if last else None
    failed = largest is not None and largest.verdict is Verdict.FAIL and _in_doubt(lookup, reference)
    question = in_question(lookup.carried_back.get(reference.id, ()))
    more = [(AWAY, bool(away)), (CHECK_FAILED, failed), (IN_QUESTION, bool(question))]
    said = [sentence, *([f"away: {away[0].reason}"] if away else []), *([question] if question else [])]
    return ReferenceState(
        link=reference_link(reference.id),
        kind=KINDS[reference.kind],
        name=reference.name,
        serial=reference.serial,
        chips=(chip, *(other for other, holds in more if holds)),
        valid_until=str(first_end) if first_end else "",
        runs_out=first_end,
        sentence="; ".join(said),
        needs_action=chip in (OUT_OF_DATE, NOT_CALIBRATED) or failed or bool(question),
        last_check=f"largest error {words.error_with_u(largest)} {words.unit(largest.unit)}" if largest else "",
        check_chip=status_chip(largest) if largest else None,
        check_link=visit_link(largest.visit, str(largest.day)) if largest else None,
    )


def _in_doubt(lookup: Lookup, reference: Reference) -> bool:
    """Whether nothing has ended a doubt: a calibration or a good check would have."""
    doubts = [d for d in lookup.assessment.doubts if d.reference == reference.id]
    return any(d.last is None or d.last >= lookup.day for d in doubts)


def _due_soon_days(lookup: Lookup) -> int:
    return lookup.records.facility.policy_on(lookup.day).due_soon_days


def _check_results(lookup: Lookup, reference: Reference) -> list[Result]:
    """Humidity results of checks between calibrations, in order of days."""
    return [
        r
        for r in lookup.reference_results.get(reference.id, ())
        if r.phase == "check" and r.channel is Channel.HUMIDITY and math.isfinite(r.error)
    ]


def reference_view(lookup: Lookup, reference: Reference) -> ReferenceView:
    """One reference's page."""
    path = f"references/{reference.id}.yml"
    data = lookup.records.documents[path].data
    leaning = tuple(_leaning(lookup, reference))
    checks = _check_results(lookup, reference)
    own = lookup.assessment.check_charts.get(reference.id)
    return ReferenceView(
        state=reference_state(lookup, reference),
        facts=tuple(_facts(reference, data)),
        common=tuple(_common(data)),
        quantities=tuple(
            quantity_view(lookup, reference, name, quantity, data["quantities"][name])
            for name, quantity in reference.quantities.items()
        ),
        checks=tuple(_check_row(lookup, reference, r) for r in reversed(checks)),
        check_chart=check_chart(lookup, reference.id, checks, _calibrated(reference), own.individuals if own else None),
        check_sentence=words.shown(own.sentence) if own else "",
        doubts=tuple(_doubts(lookup, reference)),
        retrace=retrace_block(lookup, lookup.carried_back.get(reference.id, ())),
        leaning=leaning,
        leaning_results=sum(row.results for row in leaning),
        carries=tuple(_carries(lookup, reference)),
        away=tuple(f"{a.from_} to {a.until or 'further notice'}: {a.reason}" for a in reversed(reference.away)),
        note=reference.note or "",
        path=path,
    )


_DECLARED = {
    "saturator_gradient": "Gradient in the saturator, half-width",
    "chamber_gradient": "Gradient in the chamber up to the probe, half-width",
    "lowest_efficiency": "Saturation efficiency, at least",
    "pressure_drop": "Pressure lost behind the saturator, at most",
    "supply": "Saturation pressure above the room's, at most",
    "least_overpressure": "Saturation pressure above the chamber's, at least",
    "mirror_pressure_difference": "Mirror against chamber pressure, within",
    "salt_condition": "Condition of the solutions, half-width",
    "rh_over": "Shows relative humidity over",
    "temperature_coefficient": "Temperature coefficient",
    "calibration_temperature": "Temperature of its calibration",
    "hysteresis": "Hysteresis, full width",
    "instability": "In air: changes of the room while reading, half-width",
    "vapour_gradient": "In air: vapour between probe and sensor, half-width",
    "response_lag": "In air: lag between the two, at most",
}


def _facts(reference: Reference, data: dict[str, Any]) -> Iterator[Fact]:
    yield Fact(name="Kind", value=KINDS[reference.kind])
    yield Fact(name="Serial", value=reference.serial)
    if reference.salts:
        yield Fact(name="Salts", value=words.listed(reference.salts))
    for cell in data.get("cells", ()):
        for one in reversed(cell["calibrations"]):
            value = f"{one['value']} at {one['at']}, {one['change']}, U = {one['U']}, k = {one.get('k', 'assumed')}"
            until = f"{one['certificate']}, {one['laboratory']}, {one['date']}, valid until {one['valid_until']}"
            yield Fact(name=f"Cell {cell['name']}", value=words.shown(value), note=until)
    for key, name in _DECLARED.items():
        if data.get(key) is not None:
            value = _known(data[key])
            no_limit = any(means in value for means in _MEANS.values())
            yield Fact(name=name.removesuffix(", half-width") if no_limit else name, value=value)
    yield from _further(data)
    if reference.check_limit is not None:
        value = f"|error| up to {words.shown(data['check_limit']['humidity'])}"
        yield Fact(name="Limit of its checks between calibrations", value=value)


def _known(written: Any) -> str:
    """A property as it is written: `0.05 °C`, where it carries dates the newest first."""
    entries = written if isinstance(written, list) else [written]
    return "; before: ".join(_entry(entry) for entry in reversed(entries))


def _entry(entry: Any) -> str:
    if not isinstance(entry, dict):
        return words.shown(entry)
    since = f" from {entry['from']}" if "from" in entry else ""
    said = [f"{entry['value']}{since}", *_meant(entry)]
    bands = (f"{band['value']} from {band['lowest']} to {band['highest']}" for band in entry.get("bands", ()))
    return words.shown(", ".join([*said, *bands]))


_MEANS = {"u": "a standard uncertainty", "U": "an expanded uncertainty"}


def _meant(size: dict[str, Any]) -> Iterator[str]:
    """What an amount means, where it is not the plain half-width of a rectangle."""
    if size.get("means", "limit") != "limit":
        yield _MEANS[size["means"]]
    for key, sign in (("nu", "ν"), ("k", "k")):
        if key in size:
            yield f"{sign} = {size[key]}"
    if "distribution" in size:
        yield str(size["distribution"]).replace("u_shaped", "U-shaped")


def _further(data: dict[str, Any]) -> Iterator[Fact]:
    """Further sources, as they are written."""
    for one in data.get("further") or []:
        key = next(key for key in ("limit", "u", "U") if key in one)
        size = f"±{one[key]}" if key == "limit" else f"{key} = {one[key]}"
        per = {"degC": f" per degC from {one.get('calibration_temperature')}", "month": " per month", "value": " of it"}
        said = [size + per.get(one.get("per"), ""), *_meant(one)]
        if "correction" in one:
            said.append(f"corrected by {one['correction']}")
        said += [f"{word} {one[key]}" for key, word in (("lowest", "from"), ("highest", "up to")) if key in one]
        value = words.shown(f"{', '.join(said)}; {quantity_words(one['of'])}")
        yield Fact(name=f"{one['label'][0].upper()}{one['label'][1:]}", value=value, note=_LASTS[one["lasts"]])


_LASTS = {
    "reading": "another one in each reading",
    "plateau": "lasts a plateau",
    "visit": "lasts a visit",
    "calibration": "lasts until the next calibration",
    "longer": "lasts as long as it is in use",
}


def _common(data: dict[str, Any]) -> Iterator[Fact]:
    """Components that several quantities share, newest first."""
    for component in sorted(data.get("common") or [], key=lambda c: str(c["date"]), reverse=True):
        quantities = words.listed(quantity_words(name) for name in component["quantities"])
        value = f"u = {words.shown(component['u'])}, shared by {quantities}"
        yield Fact(name=component["name"], value=value, note=f"calibrations of {component['date']}")


def _check_row(lookup: Lookup, reference: Reference, r: Result) -> CheckRow:
    limit = reference.check_limit
    return CheckRow(
        visit=visit_link(r.visit, str(r.day)),
        point=words.point(r),
        against=reference_link(r.reference),
        error=words.error_with_u(r),
        limit=f"±{limit.humidity:g}" if limit else "",
        chip=status_chip(r) if limit else None,
    )


def _calibrated(reference: Reference) -> list[tuple[date, str]]:
    """Days of calibrations, each with what was calibrated."""
    found: dict[date, list[str]] = {}
    for name, quantity in reference.calibrated.items():
        for calibration in quantity.calibrations:
            found.setdefault(calibration.date, []).append(quantity_words(name))
    whole = len(reference.calibrated)
    return [
        (day, "calibrated" if len(names) == whole else f"calibrated: {words.listed(names)}")
        for day, names in sorted(found.items())
    ]


def _doubts(lookup: Lookup, reference: Reference) -> Iterator[DoubtRow]:
    """Visits whose results carry a doubt of this reference, with why, newest first."""
    for visit in reversed(list(lookup.leaning.get(reference.id, {}))):
        said = dict.fromkeys(
            fault.message
            for part in lookup.visits.get(visit, ())
            for result in part.results
            for fault in result.reservations
            if fault.rule is REFERENCE_IN_DOUBT and fault.message.startswith((f"{reference.id} ", f"{reference.id},"))
        )
        if said:
            yield DoubtRow(visit=visit_link(visit), why=words.shown("; ".join(said)))


def _leaning(lookup: Lookup, reference: Reference) -> Iterator[LeaningRow]:
    """Visits whose results lean on the reference, newest first."""
    for name, (items, days, results) in reversed(list(lookup.leaning.get(reference.id, {}).items())):
        yield LeaningRow(
            visit=visit_link(name),
            sensors=tuple(lookup.item(item) for item in items),
            calibrations=words.listed(map(str, days)),
            results=results,
        )


def _carries(lookup: Lookup, reference: Reference) -> Iterator[Link]:
    for other in lookup.records.references.values():
        visits = {c.from_visit for q in other.quantities.values() for c in q.calibrations if c.from_visit}
        if other.id != reference.id and visits & set(lookup.leaning.get(reference.id, {})):
            yield reference_link(other.id)
