"""What surrounds a case: since when, by how much, for how long, and what the other sensors of the place say."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

from asfound.assessment.findings.cases import Case
from asfound.assessment.findings.error_curve import curve_of
from asfound.assessment.findings.error_path import (
    Basis,
    Crossed,
    ErrorPath,
    Reading,
    crossed,
    foretold,
    path_between,
    path_of_line,
)
from asfound.assessment.findings.exposure import (
    Exposure,
    Neighbour,
    Size,
    Span,
    TrendExposure,
    mean_difference,
    size_at,
    trend_exposure,
)
from asfound.assessment.history.epochs import VisitHistory, epochs_of, lasting_of
from asfound.assessment.history.instruments import Instruments, history_of
from asfound.assessment.history.lasting import Lasting
from asfound.assessment.history.line import Fit, drift_to
from asfound.assessment.history.scales import Scales
from asfound.assessment.results.conformity import Verdict, tolerance_at
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.faults import Fault
from asfound.records.load import Records
from asfound.records.models import Channel, Sensor, in_force
from asfound.records.settings_in_force import SettingsOn
from asfound.records.snapshot import Snapshot
from asfound.records.trends.exports import Trend, read_trend, trend_paths
from asfound.uncertainty.budgets import Budgets

CALIBRATING_S = 2 * 3600
"""Left out of a trend before the first and after the last reading of a visit: the sensor was in a chamber."""
COMPARED_DAYS = 7
"""Neighbours are compared over so many days before the visit that found the error."""

Visits = Mapping[str, Sequence[SensorVisitSummary]]
"""By sensor, its visits that stand, in order of days."""

_WORDS = {
    Verdict.PASS: "in tolerance",
    Verdict.CONDITIONAL_PASS: "too close to call",
    Verdict.CONDITIONAL_FAIL: "too close to call",
    Verdict.UNDECIDED: "too close to call",
    Verdict.FAIL: "out of tolerance",
}
_GRAVEST_FIRST = ("out of tolerance", "too close to call", "in tolerance")


class Trends:
    """The trends of the sensors that are asked for, each read once."""

    def __init__(self, files: Snapshot, records: Records) -> None:
        self._files, self._zone, self._paths = files, records.zone, trend_paths(files)
        self._held: dict[str, Trend | None] = {}
        self.faults: list[Fault] = []

    def of(self, sensor: str) -> Trend | None:
        """The trend of a sensor; None where there is none, or where it has faults (which are kept)."""
        if sensor not in self._held:
            mine = {path: self._files[path] for path in self._paths.get(sensor, ())}
            self._held[sensor], faults = read_trend(mine, sensor, self._zone)
            self.faults += faults
        return self._held[sensor]


def with_exposures(
    cases: Iterable[Case],
    records: Records,
    budgets: Budgets,
    visits: Visits,
    instruments: Instruments,
    trends: Trends,
) -> tuple[Case, ...]:
    """The cases, each with its exposure."""
    investigation = Investigation(records, budgets, visits, instruments, trends)
    return tuple(replace(case, exposure=investigation.exposure(case)) for case in cases)


class Investigation:
    """Looks at cases with the same records."""

    def __init__(
        self, records: Records, budgets: Budgets, visits: Visits, instruments: Instruments, trends: Trends
    ) -> None:
        self.records, self.budgets, self.visits, self.trends = records, budgets, visits, trends
        self.instruments = instruments
        self.judged: dict[tuple[str, Channel], tuple[list[tuple[date, str]], list[tuple[date, str]]]] = {}
        self.by_place: dict[str, set[str]] = {}
        for name, sensor in records.sensors.items():
            for period in sensor.place:
                self.by_place.setdefault(period.place, set()).add(name)

    def exposure(self, case: Case) -> Exposure:
        """Window, error, hours outside and neighbours of one case."""
        sensor, channel = self.records.sensors[case.sensor], case.worst.channel
        served = [v for v in self.visits[case.sensor] if v.results and v.results[0].serial == case.worst.serial]
        number = next(i for i, v in enumerate(served) if v.sensor_visit.visit.id == case.visit)
        history = self._history(served[: number + 1], channel, case)
        start, opened = self._start(case, sensor, served)
        end = min(_times(case.found), default=start)
        lasting, scales = self._scales(case, history)
        path, when = self._path(case, history, served[:number], (start, end), (lasting, scales))
        # Between visits the newest curve is of what was found, with what the visit before says of the loop.
        by_line = path.basis is Basis.LINE
        curve = curve_of(case.found, self.budgets, scales.between) if by_line else path.legs[-1].after
        working = sensor.working(channel)
        size: Size | None = size_at(curve, working) if working is not None else None
        trend, reason = self._trend(case, sensor, path, (start, end))
        return Exposure(
            start=start,
            end=end,
            opened=opened,
            basis=path.basis,
            crossed=when,
            size=size,
            trend=trend,
            no_trend=reason,
            neighbours=tuple(self._neighbours(case, start, end)),
        )

    def _scales(self, case: Case, history: Sequence[VisitHistory]) -> tuple[Lasting, Scales]:
        """What stands behind a history, and what it is read with, as the drift of the sensor's family is."""
        lasting = lasting_of(history, self.budgets)
        epoch = epochs_of(history, lasting)[-1] if history else None
        scales = self.instruments.scales_for(case.worst.model, case.worst.channel, epoch)
        return lasting, replace(scales, factors=scales.of_changes)

    def _history(self, served: Sequence[SensorVisitSummary], channel: Channel, case: Case) -> list[VisitHistory]:
        """The instrument's history up to what this visit found, before anything was changed."""
        history = [h for h in history_of(served, channel) if h.day <= case.day]
        if history and history[-1].day == case.day:
            history[-1] = replace(history[-1], as_left=(), adjusted=False, element=False)
        return history

    def _start(self, case: Case, sensor: Sensor, served: Sequence[SensorVisitSummary]) -> tuple[int, str]:
        """When the window opens, and what it opens with."""
        if case.last_good is not None:
            good = [r for v in served if v.sensor_visit.visit.id == case.last_good_visit for r in v.results]
            return max(_times(good)), f"left in tolerance at every set point on {case.last_good}"
        installed = max((i.from_ for i in sensor.installed if i.from_ <= case.day), default=case.day)
        midnight = datetime(installed.year, installed.month, installed.day, tzinfo=self.records.zone)
        words = f"instrument in place since {installed}; no visit on record left it in tolerance at every set point"
        return int(midnight.timestamp()), words

    def _path(
        self,
        case: Case,
        history: Sequence[VisitHistory],
        before: Sequence[SensorVisitSummary],
        window: tuple[int, int],
        read_with: tuple[Lasting, Scales],
    ) -> tuple[ErrorPath, Crossed | None]:
        """How the error went, and where a drift line tells, when the limit was crossed."""
        channel, (start, end), (lasting, scales) = case.worst.channel, window, read_with
        first = datetime.fromtimestamp(start, UTC).date()
        if case.last_good is not None and _opened(history) <= first:

            def line(visits: Sequence[VisitHistory]) -> Fit | None:
                return drift_to(visits, lasting, channel, scales)

            fit = line(history) if foretold(line(history[:-1]), case.worst) else None
            when = crossed(fit, case.worst, self._limit(case), first, case.day) if fit is not None else None
            if fit is not None and when is not None:
                return path_of_line(fit, start, end), when
        ids = {v.sensor_visit.visit.id: min(_times(v.results), default=0) for v in before}
        of_day = {v.sensor_visit.visit.day: ids[v.sensor_visit.visit.id] for v in before}
        later = [h for h in history if h.day < case.day and of_day.get(h.day, 0) > start]
        good = next((h for h in reversed(history) if case.last_good is not None and h.day == case.last_good), None)
        readings = [
            Reading(time=of_day[h.day], found=h.as_found, left=h.as_left, adjusted=h.adjusted) for h in later
        ] + [Reading(time=end, found=case.found, left=(), adjusted=False)]
        return path_between(start, good.left if good else (), readings, self.budgets, scales.between), None

    def _limit(self, case: Case) -> Callable[[date], float]:
        """The tolerance in force on a day where the worst result was read; where none was, the one that it exceeded."""
        sensor, worst = self.records.sensors[case.sensor], case.worst

        def limit_on(day: date) -> float:
            settings = SettingsOn(self.records, sensor, day)
            tolerance = settings.tolerance(worst.channel, "as_found")
            span = settings.range(worst.channel)
            limit = tolerance_at(tolerance, worst.reference_value, span) if tolerance else math.nan
            return worst.tolerance if math.isnan(limit) else limit

        return limit_on

    def _trend(self, case: Case, sensor: Sensor, path: ErrorPath, window: Span) -> tuple[TrendExposure | None, str]:
        if case.worst.channel is not Channel.HUMIDITY:
            return None, "hours outside are counted for humidity only: no process limits of temperature are on record"
        trend = self.trends.of(case.sensor)
        if trend is None:
            return None, f"no trend of {case.sensor} is on record, so hours outside cannot be told"
        if not path.invertible:
            return None, "the errors found make two humidities read alike: the trend cannot be corrected"
        spans = [span for v in self.visits[case.sensor] if (span := _span(v.results))]
        inside = [span for span in spans if span[1] > window[0] and span[0] < window[1]]
        found = trend_exposure(trend, path, sensor.process_limits, window, inside, self.records.zone)
        return (found, "") if found.covered > 0.0 else (None, f"the trend of {case.sensor} holds nothing of the window")

    def _neighbours(self, case: Case, start: int, end: int) -> Iterable[Neighbour]:
        place = in_force(self.records.sensors[case.sensor].place, case.day)
        own = self.trends.of(case.sensor) if case.worst.channel is Channel.HUMIDITY else None
        for name in sorted(self.by_place.get(place.place, ()) if place else ()):
            there = in_force(self.records.sensors[name].place, case.day)
            if name == case.sensor or there is None or place is None or there.place != place.place:
                continue
            other = self.trends.of(name) if own is not None else None
            difference, hours = None, 0.0
            if own is not None and other is not None:
                until = end - CALIBRATING_S
                difference, hours = mean_difference(own, other, max(start, until - COMPARED_DAYS * 86400), until)
            left, found = self._verdicts(name, case)
            yield Neighbour(sensor=name, left=left, found=found, difference=difference, hours=hours)

    def _verdicts(self, name: str, case: Case) -> tuple[tuple[date, str] | None, tuple[date, str] | None]:
        """How a sensor was left before the day, and how it was found on the day or next after it."""
        lefts, founds = self._judged(name, case.worst.channel)
        left, found = bisect_left(lefts, (case.day, "")), bisect_left(founds, (case.day, ""))
        return lefts[left - 1] if left else None, founds[found] if found < len(founds) else None

    def _judged(self, name: str, channel: Channel) -> tuple[list[tuple[date, str]], list[tuple[date, str]]]:
        """(day, worst verdict) of all that left and of all that found something judged of a sensor's channel."""
        if (name, channel) not in self.judged:
            lefts, founds = [], []
            for visit in self.visits.get(name, ()):
                judged = [r for r in visit.results if r.channel is channel and r.has_verdict]
                as_found = [r for r in judged if r.phase == "as_found"]
                as_left = [r for r in judged if r.phase == "as_left"] or ([] if visit.adjusted else as_found)
                day = visit.sensor_visit.visit.day
                lefts += _worst(day, as_left)
                founds += _worst(day, as_found)
            self.judged[name, channel] = lefts, founds
        return self.judged[name, channel]


def _worst(day: date, results: Sequence[Result]) -> list[tuple[date, str]]:
    """The day with the gravest verdict; nothing where nothing was judged."""
    said = {_WORDS[r.verdict] for r in results}
    return [(day, next(w for w in _GRAVEST_FIRST if w in said))] if said else []


def _times(results: Iterable[Result]) -> list[int]:
    return [r.time_utc for r in results if r.time_utc > 0]


def _span(results: Sequence[Result]) -> Span | None:
    """When a sensor was being calibrated at a visit."""
    times = _times(results)
    return (min(times) - CALIBRATING_S, max(times) + CALIBRATING_S) if times else None


def _opened(history: Sequence[VisitHistory]) -> date:
    """The day since which nothing was changed."""
    return max((h.day for h in history if h.adjusted), default=history[0].day)
