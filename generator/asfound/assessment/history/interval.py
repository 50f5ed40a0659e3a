"""Proposals of calibration intervals: an opinion with its reason, by the method that the facility's policy names.

Staircase, control chart and in-use time are methods 1 to 3 of ILAC-G24:2022 / OIML D 10:2022 (clauses 6.2 to 6.4; what
they ask for is from memory, and the factors are the user's); drift prediction is one of its other statistical
approaches. A proposal stands on no certificate and never applies itself: an interval changes only in the records.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from asfound.assessment.due import Due, DueState, due_day
from asfound.assessment.history.drift import Drift
from asfound.assessment.history.outlook import PointOutlook
from asfound.assessment.results.conformity import EDGE, Verdict
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.measurement.calibrations import DAYS_A_YEAR
from asfound.records.load import Records
from asfound.records.models import Channel, Intervals, Policy
from asfound.records.settings_in_force import SettingsOn
from asfound.rounding import expanded, value_with
from asfound.uncertainty.sources import coverage_factor

METHODS = {
    "staircase": "staircase (ILAC-G24 method 1)",
    "control_chart": "control chart (ILAC-G24 method 2)",
    "in_use_time": "in-use time (ILAC-G24 method 3)",
    "drift": "drift prediction",
}
MONTHS_A_YEAR = 12.0
MINUTES_AN_HOUR = 60.0


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """What a method proposes for one sensor, and why."""

    method: str
    """staircase, control_chart, in_use_time or drift"""
    months_now: int
    months: int | None
    """None: too little is known, the reason says what is missing"""
    reason: str
    changes: str
    """what the proposal would change; empty without one"""

    @property
    def method_in_words(self) -> str:
        """The method as its source names it."""
        return METHODS[self.method]


@dataclass(frozen=True, kw_only=True)
class _Answer:
    """Months before the policy's bounds (inf: nothing limits them; None: not enough is known), and the reason."""

    months: float | None
    reason: str
    day: date = date.max
    """the day behind it, where months are whole"""


def proposal(
    records: Records,
    settings: SettingsOn,
    visits: Sequence[SensorVisitSummary],
    due: Due,
    drifts: Sequence[Drift],
) -> Proposal | None:
    """A proposal for the instrument that serves; `visits` are its own, in order of days.

    None where the policy names no method, the sensor has no interval, or it is out of service.
    """
    policy = records.facility.policy_on(settings.day)
    rule, interval = policy.intervals, settings.dated("interval")
    if rule is None or interval is None or due.state is DueState.OUT_OF_SERVICE:
        return None
    if rule.method == "staircase":
        answer = _by_staircase(records, settings, rule, visits)
    elif rule.method == "in_use_time":
        answer = _by_hours(rule, visits)
    else:
        answer = _by_drift(rule.method, due, drifts, policy, interval.months)
    if answer.months is None:
        return Proposal(method=rule.method, months_now=interval.months, months=None, reason=answer.reason, changes="")
    months, bound = _bounded(answer.months, rule)
    if months > interval.months and _newest_failed(visits):
        months, bound = interval.months, "; not lengthened after a result out of tolerance"
    return Proposal(
        method=rule.method,
        months_now=interval.months,
        months=months,
        reason=answer.reason + bound,
        changes=_changes(interval.months, months, due, policy, settings.day),
    )


def _newest_failed(visits: Sequence[SensorVisitSummary]) -> bool:
    """Whether the newest judged visit found the instrument out of tolerance."""
    judged = (
        [r.verdict for r in visit.results if r.phase == "as_found" and r.has_verdict] for visit in reversed(visits)
    )
    return Verdict.FAIL in next((verdicts for verdicts in judged if verdicts), [])


def _bounded(months: float, rule: Intervals) -> tuple[int, str]:
    """Whole months within the policy's bounds, never longer than the method's; and what the bounds did."""
    if months > rule.longest:
        return rule.longest, f"; the policy's longest interval is {rule.longest} months"
    whole = math.floor(months + 1e-9)
    if whole < rule.shortest:
        return rule.shortest, f"; the policy's shortest interval is {_months(rule.shortest)}"
    return whole, ""


def _changes(now: int, months: int, due: Due, policy: Policy, today: date) -> str:
    if months == now:
        return f"nothing: the interval stays {_months(now)}"
    since = due.since
    if since is None:
        return f"{_months(months)} instead of {now}, once there is a complete calibration to count from"
    then, planned = due_day(since, months, policy), due_day(since, now, policy)
    overdue = ", so overdue at once" if then < today <= planned else ""
    waits = due.state is DueState.DEFERRED and due.day is not None and then < due.day
    deferred = f"; deferred to {due.day} all the same" if waits else ""
    return f"next due {then} instead of {planned}{deferred or overdue}"


def _months(number: int) -> str:
    return f"{number} month{'s' if number != 1 else ''}"


def staircase(months: float, share: float, *, extend_below: float, extend_by: float, reduce_by: float) -> float:
    """The next interval after one that ended with |error| at this share of the tolerance (ILAC-G24, method 1).

    Within `extend_below` it is extended, outside the tolerance reduced, between them kept.
    """
    if share > 1.0 + EDGE:
        return months * reduce_by
    return months * extend_by if share <= extend_below + EDGE else months


def _by_staircase(
    records: Records, settings: SettingsOn, rule: Intervals, visits: Sequence[SensorVisitSummary]
) -> _Answer:
    """From the interval in force when the newest as found was judged: what it led to is not led to twice.

    The first visit ended no interval.
    """
    for visit in reversed(visits[1:]):
        judged = [r for r in visit.results if r.phase == "as_found" and r.has_verdict and r.tolerance > 0.0]
        then = SettingsOn(records, settings.sensor, visit.sensor_visit.visit.day).dated("interval")
        if judged and then is not None:
            worst = max(judged, key=_share)
            return _stepped(then.months, worst, rule)
    return _Answer(months=None, reason="nothing was judged as found at the end of an interval yet")


def _share(result: Result) -> float:
    return abs(result.error) / result.tolerance


def _stepped(months: int, worst: Result, rule: Intervals) -> _Answer:
    share = _share(worst)
    stepped = staircase(
        months, share, extend_below=rule.extend_below, extend_by=rule.extend_by, reduce_by=rule.reduce_by
    )
    found = f"found at {100 * share:.0f} % of the tolerance on {worst.day} at {_named(worst.channel, worst.point)}"
    if stepped == months:
        meaning = f"no reason to change the {_months(months)} that had been set"
    elif share > 1.0:
        meaning = f"outside, so {_months(months)} are multiplied by {rule.reduce_by:g}"
    else:
        meaning = f"within {100 * rule.extend_below:g} %, so {_months(months)} are multiplied by {rule.extend_by:g}"
    return _Answer(months=stepped, reason=f"{found}: {meaning}")


def _by_hours(rule: Intervals, visits: Sequence[SensorVisitSummary]) -> _Answer:
    """By the use between the two newest readings of the hours-of-use counter."""
    read = [(v.sensor_visit.visit.day, hours) for v in visits if (hours := _counter(v)) is not None]
    if len(read) < 2:
        missing = "once" if read else "at no visit"
        return _Answer(months=None, reason=f"the hours-of-use counter was read {missing}: two readings are needed")
    (since, first), (until, last) = read[-2:]
    between = f"from {first:g} h on {since} to {last:g} h on {until}"
    if last < first or until == since:
        return _Answer(months=None, reason=f"the hours-of-use counter went {between}: no rate of use follows")
    assert rule.hours is not None
    allowed = rule.hours / MINUTES_AN_HOUR
    a_month = (last - first) / ((until - since).days / DAYS_A_YEAR * MONTHS_A_YEAR)
    months = allowed / a_month if a_month > 0.0 else math.inf
    lasting = f"{allowed:g} h last {months:.1f} months" if a_month > 0.0 else "not in use"
    return _Answer(months=months, reason=f"the counter went {between}, {a_month:.0f} h a month: {lasting}")


def _counter(visit: SensorVisitSummary) -> float | None:
    """The last reading of the hours-of-use counter at a visit, h."""
    sv = visit.sensor_visit
    counts = [
        float(value)
        for name, value in zip(sv.visit.text["sensor"], sv.visit.number["in_use"], strict=True)
        if name == sv.sensor and not np.isnan(value)
    ]
    return counts[-1] / MINUTES_AN_HOUR if counts else None


def _by_drift(method: str, due: Due, drifts: Sequence[Drift], policy: Policy, months: int) -> _Answer:
    """The shortest time of all points, counted from the last complete calibration; `months`: the interval in force.

    An interval is shortened where something drifts, and for nothing else.
    """
    for drift in drifts:
        if drift.fit is None:
            return _Answer(months=None, reason=f"{drift.channel.value}: {drift.sentence}")
    if due.since is None:
        return _Answer(months=None, reason="there is no complete calibration to count from")
    answers = [
        _shortened_for_drift(_at_point(method, due.since, drift, number, outlook, policy), outlook, months)
        for drift in drifts
        for number, outlook in enumerate(drift.outlooks)
        if not math.isnan(outlook.tolerance)
    ]
    if not answers:
        return _Answer(months=None, reason="no point of the present calibration has a rate and a tolerance")
    return min(answers, key=lambda answer: (-1.0 if answer.months is None else answer.months, answer.day))


def _shortened_for_drift(answer: _Answer, outlook: PointOutlook, months: int) -> _Answer:
    """A point that stands still keeps the interval: what is wrong with it no earlier visit would mend."""
    if answer.months is None or answer.months >= months or abs(outlook.rate) > outlook.U_rate:
        return answer
    cure = f"no drift shows there, and a shorter interval than {_months(months)} mends nothing"
    if outlook.share_today > 1.0:
        cure += ": adjust, take a better reference, or decide the tolerance"
    return replace(answer, months=float(months), reason=f"{answer.reason}; {cure}")


def _at_point(method: str, since: date, drift: Drift, number: int, outlook: PointOutlook, policy: Policy) -> _Answer:
    where = f"at {_named(drift.channel, outlook.target)}"
    if method == "control_chart":
        return _to_the_limit(since, drift, number, outlook, where)
    assert outlook.leaves is not None and drift.fit is not None
    if outlook.limit <= 0.0:
        return _Answer(months=None, reason=f"{where} {outlook.leaves.sentence}")
    earliest = outlook.leaves.earliest
    months = math.inf if earliest is None else float(whole_months(since, earliest, policy))
    known = "; what varies is as declared, too few instruments of the family show it" if drift.fit.scales.few else ""
    return _Answer(months=months, reason=f"{where} {outlook.leaves.sentence}{known}", day=earliest or date.max)


def _to_the_limit(since: date, drift: Drift, number: int, outlook: PointOutlook, where: str) -> _Answer:
    assert drift.fit is not None
    expected = drift.fit.expected(since)
    offset = float(expected.errors[number])
    u = float(expected.true()[0][number])
    k = float(coverage_factor(drift.nu))
    years = drift_limited_years(offset, outlook.rate, outlook.U_rate / k, u, outlook.tolerance, k)
    unit = drift.channel.unit
    tolerance = f"± {outlook.tolerance:.3g} {unit}"
    rate = f"{value_with(outlook.rate, outlook.U_rate, sign=True)} ± {expanded(outlook.U_rate)} {unit} per year"
    start = f"{value_with(offset, k * u, sign=True)} ± {expanded(k * u)} {unit} on {since}"
    if years == 0.0:
        end = f"may be beyond {tolerance} already"
    elif math.isinf(years):
        end = f"never reaches {tolerance}"
    else:
        end = f"reaches {tolerance} after {MONTHS_A_YEAR * years:.1f} months"
    return _Answer(months=MONTHS_A_YEAR * years, reason=f"{where} {rate} from {start} {end}")


def drift_limited_years(offset: float, rate: float, u_rate: float, u: float, tolerance: float, k: float = 2.0) -> float:
    """T of |offset| + |rate|·t + k·√(u² + (u_rate·t)²) = tolerance, years; 0 where it is reached already, else inf.

    The arithmetic of a control chart's interval (ILAC-G24, method 2), in closed form: with a = tolerance − |offset|
    and b = |rate| it is the first root of (b² − k²·u_rate²)·t² − 2·a·b·t + a² − k²·u² = 0.
    """
    a, b = tolerance - abs(offset), abs(rate)
    if a <= k * u:
        return 0.0
    c = a * a - (k * u) ** 2
    root = math.sqrt((b * k * u) ** 2 + (k * u_rate) ** 2 * c)
    return c / (a * b + root) if a * b + root > 0.0 else math.inf


def whole_months(since: date, until: date, policy: Policy) -> int:
    """The longest interval from one day that is over, by the policy's rule, on the other at the latest; else 0."""
    months = max((until.year - since.year) * 12 + until.month - since.month, 0)
    return months - 1 if months and due_day(since, months, policy) > until else months


def _named(channel: Channel, target: float) -> str:
    return f"{target:g} %RH" + ("" if channel is Channel.HUMIDITY else f" ({channel})")
