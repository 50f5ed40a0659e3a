"""The Method page: published values beside today's computed, and the numbers that the method rests on."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from asfound import humidity
from asfound.assessment.history import design, drift, epochs, line, outlook, scales
from asfound.assessment.results import conformity
from asfound.measurement import cell_sources, monte_carlo, points, repeatability
from asfound.records.methods import METHODS
from asfound.records.models import Policy
from asfound.rounding import MINUS, fixed, significant
from asfound.site.lookup.lookup import Lookup
from asfound.statistics import control_charts, scale_factors
from asfound.uncertainty import formulations, sources
from asfound.wording import words
from asfound.wording.words import Fact

_HEADINGS = {
    "saturation_vapour_pressure": "Saturation vapour pressure",
    "enhancement_factor": "Enhancement factor",
    "two_pressure_rh": "Humidity by the two-pressure method",
    "salt_rh": "Humidity over saturated salt solutions",
}


@dataclass(frozen=True, kw_only=True)
class PublishedRow:
    """One published value beside the one that this build computed."""

    at: str
    published: str
    computed: str
    difference: str
    source: str
    obtained: str


@dataclass(frozen=True, kw_only=True)
class PublishedTable:
    """Published values of one quantity."""

    anchor: str
    title: str
    unit: str
    rows: tuple[PublishedRow, ...]


@dataclass(frozen=True, kw_only=True)
class PolicyView:
    """One policy: the rule that its visits are judged by, and what else holds."""

    title: str
    rule: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, kw_only=True)
class MethodView:
    """Everything on the Method page that is not prose."""

    procedure: str
    equations: tuple[Fact, ...]
    """of methods that bring their own equation"""
    tables: tuple[PublishedTable, ...]
    policies: tuple[PolicyView, ...]
    widths: tuple[Fact, ...]
    """of the published formulations"""
    choices: tuple[Fact, ...]
    """numbers that are our own choice"""
    coverage: str
    weight: str
    """of the newest value in a moving average"""


def method(lookup: Lookup, published: bytes) -> MethodView:
    """The Method page; `published`: the table of published values, CSV."""
    wording = lookup.records.facility.certificate
    return MethodView(
        procedure=f"{wording.method}, version {wording.method_version}",
        equations=tuple(Fact(name=m.name.capitalize(), value=m.equation) for m in METHODS.values() if m.equation),
        tables=tuple(published_tables(published)),
        policies=tuple(_policy(p) for p in reversed(lookup.records.facility.policies)),
        widths=tuple(_widths()),
        choices=tuple(_choices()),
        coverage=f"{fixed(100 * sources.COVERAGE, 2)} %",
        weight=f"{control_charts.WEIGHT:g}",
    )


def published_tables(published: bytes) -> Iterator[PublishedTable]:
    """Each row computed now by the functions that compute the results."""
    rows = list(csv.DictReader(io.StringIO(published.decode("utf-8"))))
    for quantity, title in _HEADINGS.items():
        mine = [row for row in rows if row["quantity"] == quantity]
        if mine:
            yield PublishedTable(
                anchor=quantity.replace("_", "-"),
                title=title,
                unit="" if mine[0]["unit"] == "1" else mine[0]["unit"],
                rows=tuple(_published_row(row) for row in mine),
            )


def _published_row(row: dict[str, str]) -> PublishedRow:
    at, computed = _COMPUTE[row["quantity"]](row)
    text = row["published"]
    places = len(text.partition(".")[2])
    value = float(text)
    relative = row["allowed_kind"] == "relative"
    apart = computed / value - 1.0 if relative else computed - value
    return PublishedRow(
        at=at,
        published=text.replace("-", MINUS),
        computed=fixed(computed, places),
        difference=f"{_signed(apart * 1e6, 0)} ppm" if relative else f"{_signed(apart, 4)} {row['unit']}",
        source=row["source"],
        obtained=row["obtained"].replace("->", "→"),
    )


def _signed(value: float, places: int) -> str:
    return fixed(value, places, sign=True)


def _vapour(row: dict[str, str]) -> tuple[str, float]:
    celsius = float(row["temperature_c"])
    at = f"{_number(row['temperature_c'])} °C over {row['over']}"
    return at, float(humidity.saturation_vapour_pressure(celsius, over=row["over"]))


def _enhancement(row: dict[str, str]) -> tuple[str, float]:
    celsius, kpa = float(row["temperature_c"]), float(row["pressure_kpa"])
    at = f"{_number(row['temperature_c'])} °C over {row['over']}, {row['pressure_kpa']} kPa"
    return at, float(humidity.enhancement_factor(celsius, 1e3 * kpa, over=row["over"]))


def _two_pressure(row: dict[str, str]) -> tuple[str, float]:
    ps, ts, pc, tc = (float(row[k]) for k in ("saturation_kpa", "saturation_c", "pressure_kpa", "temperature_c"))
    at = (
        f"{row['saturation_kpa']} kPa and {row['saturation_c']} °C to "
        f"{row['pressure_kpa']} kPa and {row['temperature_c']} °C"
    )
    return at, float(humidity.two_pressure_rh(1e3 * ps, ts, 1e3 * pc, tc))


def _salt(row: dict[str, str]) -> tuple[str, float]:
    at = f"{row['salt']} at {_number(row['temperature_c'])} °C"
    return at, float(humidity.salt_rh(row["salt"], float(row["temperature_c"])))


_COMPUTE: dict[str, Callable[[dict[str, str]], tuple[str, float]]] = {
    "saturation_vapour_pressure": _vapour,
    "enhancement_factor": _enhancement,
    "two_pressure_rh": _two_pressure,
    "salt_rh": _salt,
}


def _number(text: str) -> str:
    return text.replace("-", MINUS)


def _policy(policy: Policy) -> PolicyView:
    first = words.since(policy.from_) or "from the first visit on"
    settling, facts = policy.settling, []
    if settling.least_soak is not None:
        facts.append(
            Fact(name="At a point before reading, at least", value=words.amount(settling.least_soak, "duration"))
        )
    if settling.least_rows is not None:
        facts.append(Fact(name="Readings of a point, at least", value=str(settling.least_rows)))
    if settling.largest_slope is not None:
        slope = f"{settling.largest_slope:g} %RH per minute"
        facts.append(Fact(name="Slope of the errors while reading, at most", value=slope))
    if settling.largest_left is not None:
        left = f"{settling.largest_left:g} %RH with its U, in place of soak and slope; a minute of the log is a reading"
        facts.append(Fact(name="Left of the approach, where a log was read, at most", value=left))
    if policy.rule == "simple_acceptance":
        facts.append(Fact(name="U/T with which something is decided, at most", value=f"{policy.largest_u_over_t:g}"))
    facts += [
        Fact(name="Pooled repeatability from", value=f"{policy.least_pool} degrees of freedom"),
        Fact(name="From visit to visit, standard deviation", value=_shifts(policy)),
        Fact(name="Due", value=_due_rule(policy)),
        Fact(name="Shown as due soon", value=f"{policy.due_soon_days} days before"),
    ]
    return PolicyView(title=f"Visits {first}", rule=conformity.rule_in_words(policy), facts=tuple(facts))


def _shifts(policy: Policy) -> str:
    """Of families that declare none of their own."""
    of_tolerance = f"{100 * scales.UNDECLARED:g} % of the tolerance"
    humidity, temperature = (
        of_tolerance if value is None else f"{value:g} {unit}"
        for value, unit in ((policy.visit_to_visit, "%RH"), (policy.visit_to_visit_temperature, "°C"))
    )
    return f"{humidity}, {temperature}; where a family declares its own, that"


def _due_rule(policy: Policy) -> str:
    ends = (
        "at the end of the month in which the interval ends" if policy.due_on == "month_end" else "as the interval ends"
    )
    return ends + (f"; overdue {policy.grace_days} days later" if policy.grace_days else "")


def _widths() -> Iterator[Fact]:
    """Half-widths of what the published formulations may be off by."""
    per_mpa = formulations.ENHANCEMENT_PER_PA * 1e6
    yield Fact(
        name="Enhancement factor", value=f"±{100 * per_mpa:g} % per MPa of total pressure", note="one sign everywhere"
    )
    yield Fact(name="e over water, 0 °C and above", value=f"±{100 * formulations.WATER_RELATIVE:g} %")
    yield Fact(
        name="e over supercooled water",
        value=f"±{100 * formulations.WATER_RELATIVE:g} % · exp(−t / {formulations.SUPERCOOLED_SCALE_K:g} °C)",
    )
    yield Fact(name="f·e over ice", value=f"±{100 * formulations.ICE_RELATIVE:g} %")


def _choices() -> Iterator[Fact]:
    share = f"{100 * monte_carlo.RECTANGULAR_SHARE:g} %"
    yield Fact(
        name="Monte Carlo decides where",
        value=f"one rectangular source makes {share} of the variance or more, or the humidity comes within 3u of "
        f"{monte_carlo.NEAR_SATURATION:g} %RH; {monte_carlo.TRIALS} trials, and as many again until "
        f"U stands to {monte_carlo.DIGITS} digits (JCGM 101, 7.9, from memory), at most {monte_carlo.MOST_TRIALS}; the "
        "seed from the result's name. Further digits are those of one draw",
    )
    yield Fact(
        name="Readings scatter more than expected",
        value=f"where their variance, tested one-sided at {100 * repeatability.FALSE_ALARM:g} % (χ² where it is "
        "declared, F where it is pooled or declared with degrees of freedom), cannot belong to the other; what "
        "displays may have rounded is taken in their favour. They then speak for themselves, with n − 1 degrees of "
        "freedom, and enter the pool with no more than the test would have borne",
    )
    yield Fact(
        name="A point is done",
        value=f"by a plateau whose reference humidity lies nearer to it than {points.LARGEST_REACH_RH:g} %RH and than "
        "half of what the closest set points are apart, settled, on references in date; beyond that it is a point of "
        "its own",
    )
    yield Fact(
        name="Drift",
        value=f"a rate needs {design.LEAST_VISITS} visits of one element; results of one point, "
        f"approached the same way and within {epochs.SAME_TEMPERATURE_K:g} K, are one level, and each adjustment "
        "begins new ones; where the results since the last adjustment move otherwise "
        f"than those before (p < {100 * line.MOVES_OTHERWISE:g} %), they alone are fitted; where the chi-squared test "
        f"rejects the line (p < {100 * line.REJECTED:g} %), no rate is claimed; where points at least "
        f"{design.SPAN_SPREAD_RH:g} %RH apart "
        f"drift apart (p < {100 * line.SPAN_ASKED_FOR:g} %), zero and span are told apart; it is called drifting where "
        f"it stands out of its U and uses {100 * drift.MATTERS:g} % of the tolerance or more within one interval",
    )
    yield Fact(
        name="From visit to visit",
        value="what all results of a visit shift by beyond their uncertainty: as the family or else the "
        f"policy declares it, or {100 * scales.UNDECLARED:g} % of the tolerance where neither does; then weighed "
        "against the family’s visits",
    )
    yield Fact(
        name="How long effects last",
        value="what touches one result, one visit, a whole visit beyond its sources, and what lasts until a reference "
        "is calibrated again each have a factor against what is declared, common to a family’s instruments read on one "
        "channel by one method: by restricted maximum likelihood, with a weak prior at 1 (t on its logarithm, scale "
        f"{scale_factors.TAU:g}, {scale_factors.NU0:g} degrees of freedom), from at most {scales.MOST_INSTRUMENTS} "
        "instruments; an instrument that scatters by far more than the others "
        f"(p < {100 * scales.UNLIKE:g} %, by F, over the family) is left out; of fewer than {scales.LEAST_INSTRUMENTS} "
        "instruments a line is tested against what is declared as well",
    )
    yield Fact(
        name="Leaving the tolerance",
        value="the day on which |expected error| + U of a measurement is beyond the tolerance with a probability of "
        f"{100 * outlook.MEDIAN:g} %, and of {100 * outlook.EARLIEST:g} % and {100 * outlook.LATEST:g} % for its "
        f"bounds; looked for over {outlook.HORIZON_YEARS} years from the last visit",
    )
    yield Fact(
        name="At the working temperature",
        value=f"within {significant(cell_sources.SAME_TEMPERATURE_K, 2)} K of it",
    )
    yield Fact(
        name="Adjustment",
        value="advised from as found only, from two settled points or more, never for a shift within its own "
        f"uncertainty (k = {fixed(float(sources.coverage_factor(float('inf'))), 0)})",
    )
