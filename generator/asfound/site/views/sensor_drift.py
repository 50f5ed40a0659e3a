"""Drift of one sensor, channel by channel: rates, what is expected of each point, changes and their control chart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from asfound.assessment.history.changes import Change
from asfound.assessment.history.drift import Drift
from asfound.assessment.history.interval import Proposal
from asfound.assessment.history.outlook import PointOutlook
from asfound.assessment.results.table import Result
from asfound.assessment.standing import Standing
from asfound.rounding import NOTHING, fixed, value_with
from asfound.site.charts.axes import ChartEvent, series_names
from asfound.site.charts.trends import control_chart
from asfound.site.lookup.outlooks import leaving_day
from asfound.wording import words
from asfound.wording.words import Chip


@dataclass(frozen=True, kw_only=True)
class PointRow:
    """What the line expects of one point."""

    point: str
    rate: str
    today: str
    due: str
    tolerance: str
    leaves: str
    bounds: str


@dataclass(frozen=True, kw_only=True)
class ChangeRow:
    """As found at the newest visit against what the visit before left."""

    point: str
    before: str
    now: str
    change: str
    e_n: str
    chip: Chip


@dataclass(frozen=True, kw_only=True)
class DriftView:
    """Drift of one channel, and what changed since the instrument was last left."""

    channel: str
    unit: str
    chip: Chip
    sentence: str
    naive: str
    basis: str
    points: tuple[PointRow, ...]
    due: str
    changes: tuple[ChangeRow, ...]
    between: str
    """the days of the newest change"""
    control: ControlView


@dataclass(frozen=True, kw_only=True)
class ControlRow:
    """What one visit found changed, as the control chart shows it."""

    day: str
    change: str
    average: str
    limits: str
    """of the average"""
    chips: tuple[Chip, ...]


@dataclass(frozen=True, kw_only=True)
class ControlView:
    """Changes from visit to visit on a control chart; without a chart the page shows nothing of them."""

    sentence: str
    chart: str | None
    limits: str
    rows: tuple[ControlRow, ...]


@dataclass(frozen=True, kw_only=True)
class ProposalView:
    """An opinion on the interval."""

    chip: Chip
    sentence: str
    method: str
    changes: str


def proposal_view(proposal: Proposal | None) -> ProposalView | None:
    """What is proposed for one sensor; None where the policy asks for no proposals."""
    if proposal is None:
        return None
    now = words.counted(proposal.months_now, "month")
    if proposal.months is None:
        chip, sentence = Chip(word="no proposal", kind="none"), f"The interval is {now}: {proposal.reason}"
    elif proposal.months == proposal.months_now:
        chip, sentence = Chip(word="keep", kind="none"), f"Keep the interval of {now}: {proposal.reason}"
    else:
        word = "longer" if proposal.months > proposal.months_now else "shorter"
        chip = Chip(word=word, kind="due")
        sentence = f"{words.counted(proposal.months, 'month')} instead of {proposal.months_now}: {proposal.reason}"
    return ProposalView(
        chip=chip,
        sentence=words.shown(sentence),
        method=proposal.method_in_words,
        changes=words.shown(proposal.changes),
    )


def drift_views(standing: Standing, events: Sequence[ChartEvent]) -> tuple[DriftView, ...]:
    """One for each channel; `events`: what the history marks."""
    return tuple(_drift(standing, drift, events) for drift in standing.drifts)


def _drift(standing: Standing, drift: Drift, events: Sequence[ChartEvent]) -> DriftView:
    symbol = words.unit(drift.channel.unit)
    days = f"{drift.fit.epoch.days[0]} to {drift.fit.epoch.days[-1]}: " if drift.fit else ""
    between = f"{drift.changes[0].before.day} and {drift.changes[0].now.day}" if drift.changes else ""
    return DriftView(
        channel=str(drift.channel),
        unit=symbol,
        chip=words.drift_chip(drift.state),
        sentence=days + words.shown(drift.sentence),
        naive=words.shown(drift.naive),
        basis=f"Standard deviation from visit to visit {words.digits(drift.between, 2)} {symbol}, {drift.between_basis}"
        if drift.fit
        else "",
        points=tuple(_points(drift.outlooks)),
        due=str(standing.due.day or ""),
        changes=tuple(map(_change, drift.changes)),
        between=between,
        control=_control(standing, drift, events),
    )


def _control(standing: Standing, drift: Drift, events: Sequence[ChartEvent]) -> ControlView:
    chart = next(chart for chart in standing.charts if chart.channel is drift.channel)
    symbol, single, average = words.unit(chart.channel.unit), chart.individuals, chart.ewma
    rows, limits = [], ""
    if single is not None and average is not None:
        limits = f"{fixed(single.lower, 2, sign=True)} to {fixed(single.upper, 2, sign=True)} {symbol}"
        for i, (day, change, U) in enumerate(zip(chart.days, chart.changes, chart.U, strict=True)):
            beyond = [name for name, found in (("change", single), ("average", average)) if i in found.signals]
            rows.append(
                ControlRow(
                    day=str(day),
                    change=words.difference(change, U),
                    average=value_with(float(average.values[i]), U, sign=True),
                    limits=f"{fixed(float(average.lower[i]), 2, sign=True)} to "
                    f"{fixed(float(average.upper[i]), 2, sign=True)}",
                    chips=tuple(Chip(word=f"{name} beyond its limits", kind="drift") for name in beyond)
                    or (Chip(word="within", kind="ok"),),
                )
            )
    return ControlView(
        sentence=words.shown(chart.sentence),
        chart=control_chart(standing.sensor.id, chart, events),
        limits=limits,
        rows=tuple(reversed(rows)),
    )


def _points(outlooks: Sequence[PointOutlook]) -> Iterator[PointRow]:
    name = series_names((outlook.target, outlook.reach, outlook.direction) for outlook in outlooks)
    for outlook in outlooks:
        day, bounds = leaving_day(outlook)
        yield PointRow(
            point=name(outlook.target, outlook.direction),
            rate=words.difference(outlook.rate, outlook.U_rate),
            today=words.difference(outlook.error_today, outlook.U_today),
            due=words.difference(outlook.error_due, outlook.U_due),
            tolerance=f"±{value_with(outlook.tolerance, outlook.U_today)}" if outlook.tolerance > 0 else NOTHING,
            leaves=day,
            bounds=bounds,
        )


def _change(change: Change) -> ChangeRow:
    chip = Chip(word="stands out", kind="drift") if change.significant else Chip(word="within U", kind="ok")
    return ChangeRow(
        point=f"{words.target(change.target)}, {change.now.direction}",
        before=_error(change.before),
        now=_error(change.now),
        change=words.difference(change.change, change.U),
        e_n=fixed(change.e_n, 2, sign=True),
        chip=chip,
    )


def _error(r: Result) -> str:
    return value_with(r.error, r.U, sign=True)
