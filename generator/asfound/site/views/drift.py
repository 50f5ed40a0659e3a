"""The Drift page: drift of every sensor as part of its tolerance, who leaves it before due, what intervals to set."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from asfound.assessment.history.drift import Drift
from asfound.assessment.history.interval import Proposal
from asfound.assessment.history.outlook import PointOutlook
from asfound.assessment.history.reliability import Reliability
from asfound.assessment.standing import Standing
from asfound.records.settings_in_force import instrument_on
from asfound.rounding import NOTHING, expanded, fixed, value_with
from asfound.site.charts.trends import FLEET_ROWS, FleetBar, fleet_chart
from asfound.site.lookup.lookup import Lookup, sensor_link
from asfound.site.lookup.outlooks import leaves_first, leaving_before_due, leaving_day, leaving_sentence
from asfound.site.views.declared_seen import FamilyRow, declared_and_seen
from asfound.site.views.sensor_drift import proposal_view
from asfound.site.views.standing import CRITICALITY, chips, in_service
from asfound.wording import words
from asfound.wording.words import Chip, Link

STATES = ("drifting", "watch", "steady", "too few visits")
MOVING = STATES[:2]


@dataclass(frozen=True, kw_only=True)
class LeavingRow:
    """A sensor that is expected to leave its tolerance before it is next due."""

    sensor: Link
    name: str
    place: str
    criticality: str
    chips: tuple[Chip, ...]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class DriftRow:
    """One channel of one sensor."""

    sensor: Link
    name: str
    channel: str
    chip: Chip
    rate: str
    share: str
    """of the tolerance, % per year"""
    share_at: str
    """the point that uses most of it"""
    share_sort: str
    leaves: str
    bounds: str
    leaves_at: str
    """the point that leaves first; empty where none does"""
    due: str
    model: str
    place: str


@dataclass(frozen=True, kw_only=True)
class ProposalRow:
    """A proposal that differs from the interval set."""

    sensor: Link
    name: str
    chip: Chip
    now: str
    proposed: str
    reason: str
    changes: str


@dataclass(frozen=True, kw_only=True)
class ReliabilityRow:
    """How often sensors of one model were in tolerance as found."""

    model: str
    place: str
    count: str
    rate: str
    rate_sort: str
    lower_bound: str
    months: str
    target: str


@dataclass(frozen=True, kw_only=True)
class DriftPage:
    """Everything on the Drift page."""

    day: str
    leaving: tuple[LeavingRow, ...]
    may_leave: tuple[Link, ...]
    """others whose 95 % bound says that they may have left it by then"""
    tally: tuple[tuple[str, int], ...]
    chart: str | None
    chart_note: str
    rows: tuple[DriftRow, ...]
    proposals: tuple[ProposalRow, ...]
    method: str
    """of the proposals; empty where the policy asks for none"""
    kept: int
    """how many proposals leave the interval as it is, or say what they lack"""
    reliabilities: tuple[ReliabilityRow, ...]
    target: str
    declared_seen: tuple[FamilyRow, ...]

    @property
    def has_charts(self) -> bool:
        """Whether the page draws."""
        return self.chart is not None

    @property
    def moving(self) -> tuple[DriftRow, ...]:
        """Channels that drift or are watched."""
        return tuple(row for row in self.rows if row.chip.word in MOVING)

    @property
    def others(self) -> tuple[DriftRow, ...]:
        """The rest: steady, or with too few visits."""
        return tuple(row for row in self.rows if row.chip.word not in MOVING)


def drift_page(lookup: Lookup) -> DriftPage:
    """Drift of all sensors in service."""
    serving = [s for s in lookup.assessment.standings.values() if in_service(s)]
    bars = sorted(_bars(lookup, serving), key=lambda bar: -abs(bar.value))
    note = f"The {FLEET_ROWS} largest of {len(bars)}; the table has all." if len(bars) > FLEET_ROWS else ""
    leaving = tuple(_leaving(lookup, serving))
    likely = {row.sensor for row in leaving}
    return DriftPage(
        day=str(lookup.day),
        leaving=leaving,
        may_leave=tuple(
            sensor_link(s.sensor.id)
            for s in serving
            if leaving_before_due(s, likely=False) is not None and sensor_link(s.sensor.id) not in likely
        ),
        tally=tuple((state, sum(_gravest(s) == state for s in serving)) for state in STATES),
        chart=fleet_chart(_grouped(bars[:FLEET_ROWS])),
        chart_note=note,
        rows=tuple(_rows(lookup, serving)),
        proposals=tuple(_proposals(lookup, serving)),
        method=words.listed(sorted({s.proposal.method_in_words for s in serving if s.proposal})),
        kept=sum(s.proposal is not None and not _differs(s.proposal) for s in serving),
        reliabilities=tuple(_reliability(lookup, one) for one in lookup.assessment.reliabilities),
        declared_seen=declared_and_seen(lookup),
        target=next((f"{100 * one.target:g} %" for one in lookup.assessment.reliabilities if one.target), ""),
    )


def _gravest(standing: Standing) -> str:
    return min((d.state for d in standing.drifts), key=STATES.index, default=STATES[-1])


def _leaving(lookup: Lookup, serving: Sequence[Standing]) -> Iterator[LeavingRow]:
    """By consequence, then by day."""
    found = []
    for standing in serving:
        leaving = leaving_before_due(standing)
        if leaving is not None and standing.due.day is not None:
            drift, outlook = leaving
            row = LeavingRow(
                sensor=sensor_link(standing.sensor.id),
                name=standing.sensor.name,
                place=lookup.place(standing.settings.place.place),
                criticality=standing.sensor.criticality,
                chips=chips(standing),
                sentence=leaving_sentence(drift, outlook, standing.due.day),
            )
            day = outlook.leaves.median if outlook.leaves and outlook.leaves.median else date.max
            found.append((CRITICALITY.index(standing.sensor.criticality), day, standing.sensor.id, row))
    return (row for *_, row in sorted(found, key=lambda one: one[:3]))


def _uses_most(drift: Drift) -> PointOutlook | None:
    """The point whose drift uses most of its tolerance; None without rate or tolerance."""
    limited = [outlook for outlook in drift.outlooks if outlook.tolerance > 0]
    return max(limited, key=lambda outlook: abs(outlook.rate) / outlook.tolerance, default=None)


def _share(drift: Drift) -> tuple[float, float] | None:
    """Rate and U of the point that uses most of its tolerance, in % of it per year; None without rate or tolerance."""
    most = _uses_most(drift)
    return None if most is None else (100.0 * most.rate / most.tolerance, 100.0 * most.U_rate / most.tolerance)


def _model(lookup: Lookup, standing: Standing) -> str:
    installed = instrument_on(standing.sensor, lookup.day)
    return installed.family if installed else ""


def _bars(lookup: Lookup, serving: Sequence[Standing]) -> Iterator[FleetBar]:
    for standing in serving:
        place = lookup.place(standing.settings.place.place)
        for drift in standing.drifts:
            share = _share(drift)
            if share is None:
                continue
            several = len(standing.settings.channels) > 1
            what = f"{standing.sensor.id} {drift.channel}" if several else standing.sensor.id
            yield FleetBar(
                group=f"{place}, {_model(lookup, standing)}",
                label=what,
                value=share[0],
                U=share[1],
                state=drift.state,
                hover=(
                    f"{what} {standing.sensor.name}",
                    f"{_percent(*share)} of the tolerance per year: {drift.state}",
                    f"{_rate(drift)} per year",
                ),
            )


def _grouped(bars: Sequence[FleetBar]) -> list[FleetBar]:
    """Group by group, that with the largest drift first; within a group the largest first, as given."""
    order = list(dict.fromkeys(bar.group for bar in bars))
    return sorted(bars, key=lambda bar: order.index(bar.group))


def _rows(lookup: Lookup, serving: Sequence[Standing]) -> Iterator[DriftRow]:
    """Largest part of the tolerance first, those without a rate last."""
    found = []
    for standing in serving:
        for drift in standing.drifts:
            share, most = _share(drift), _uses_most(drift)
            first = drift.outlooks[leaves_first(drift.outlooks)] if drift.outlooks else None
            day, bounds = leaving_day(first) if first else ("", "")
            row = DriftRow(
                sensor=sensor_link(standing.sensor.id),
                name=standing.sensor.name,
                channel=str(drift.channel),
                chip=words.drift_chip(drift.state),
                rate=_rate(drift) if drift.outlooks else "",
                share=_percent(*share) if share else "",
                share_at=words.target(most.target) if most else "",
                share_sort=f"{abs(share[0]):.6g}" if share else "",
                leaves=day,
                bounds=bounds,
                leaves_at=words.target(first.target) if first and bounds else "",
                due=str(standing.due.day or ""),
                model=_model(lookup, standing),
                place=lookup.place(standing.settings.place.place),
            )
            found.append((-abs(share[0]) if share else 1.0, standing.sensor.id, str(drift.channel), row))
    return (row for *_, row in sorted(found, key=lambda one: one[:3]))


def _differs(proposal: Proposal) -> bool:
    return proposal.months is not None and proposal.months != proposal.months_now


def _proposals(lookup: Lookup, serving: Sequence[Standing]) -> Iterator[ProposalRow]:
    """Shorter ones first, then by id."""
    found = [(s, s.proposal) for s in serving if s.proposal is not None and _differs(s.proposal)]
    for standing, proposal in sorted(
        found, key=lambda one: ((one[1].months or 0) > one[1].months_now, one[0].sensor.id)
    ):
        view = proposal_view(proposal)
        assert view is not None
        yield ProposalRow(
            sensor=sensor_link(standing.sensor.id),
            name=standing.sensor.name,
            chip=view.chip,
            now=words.counted(proposal.months_now, "month"),
            proposed=words.counted(proposal.months or 0, "month"),
            reason=words.shown(proposal.reason),
            changes=view.changes,
        )


def _reliability(lookup: Lookup, one: Reliability) -> ReliabilityRow:
    target = ""
    if one.target is not None:
        target = "longer than any tried" if math.isinf(one.target_months) else f"{fixed(one.target_months, 0)} months"
        target = target if not math.isnan(one.target_months) else ""
    return ReliabilityRow(
        model=one.model,
        place=lookup.place(one.place) if one.place else "all places",
        count=f"{one.in_tolerance} of {one.visits}",
        rate=f"{fixed(100 * one.rate, 0)} %",
        rate_sort=f"{one.rate:.4f}",
        lower_bound=f"{fixed(100 * one.lower_bound, 0)} %",
        months="" if math.isnan(one.months) else f"{fixed(one.months, 0)} months",
        target=target,
    )


def _rate(drift: Drift) -> str:
    return f"{words.difference(drift.rate, drift.U)} {words.unit(drift.channel.unit)}"


def _percent(value: float, U: float) -> str:
    """`+24 ± 12 %`."""
    return f"{value_with(value, U, sign=True)} ± {expanded(U)} %" if U > 0 else NOTHING
