"""The Drift page: drift of every sensor as part of its tolerance, who leaves it before due, what intervals to set."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from generator.assessment.drift import Drift
from generator.assessment.standing import Standing
from generator.records.settings import instrument_on
from generator.rounding import NOTHING, expanded, value_with
from generator.site import words
from generator.site.trend_charts import FLEET_ROWS, FleetBar, fleet_chart
from generator.site.views.lookup import Lookup, sensor_link
from generator.site.views.outlooks import leaves_first, leaving_before_due, leaving_day, leaving_sentence
from generator.site.views.standing import CRITICALITY, chips, in_service
from generator.site.words import Chip, Link

STATES = ("drifting", "watch", "steady", "too few visits")


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
    share_sort: str
    leaves: str
    bounds: str
    due: str
    family: str
    place: str


@dataclass(frozen=True, kw_only=True)
class DriftPage:
    """Everything on the Drift page."""

    day: str
    leaving: tuple[LeavingRow, ...]
    tally: tuple[tuple[str, int], ...]
    chart: str | None
    chart_note: str
    rows: tuple[DriftRow, ...]

    @property
    def has_charts(self) -> bool:
        """Whether the page draws."""
        return self.chart is not None


def drift_page(lookup: Lookup) -> DriftPage:
    """Drift of all sensors in service."""
    serving = [s for s in lookup.assessment.standings.values() if in_service(s)]
    bars = sorted(_bars(lookup, serving), key=lambda bar: -abs(bar.value))
    note = f"The {FLEET_ROWS} largest of {len(bars)}; the table has all." if len(bars) > FLEET_ROWS else ""
    return DriftPage(
        day=str(lookup.day),
        leaving=tuple(_leaving(lookup, serving)),
        tally=tuple((state, sum(_gravest(s) == state for s in serving)) for state in STATES),
        chart=fleet_chart(_grouped(bars[:FLEET_ROWS])),
        chart_note=note,
        rows=tuple(_rows(lookup, serving)),
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


def _share(drift: Drift) -> tuple[float, float] | None:
    """Rate and U of the point that uses most of its tolerance, in % of it per year; None without rate or tolerance."""
    limited = [outlook for outlook in drift.outlooks if outlook.tolerance > 0]
    if not limited:
        return None
    most = max(limited, key=lambda outlook: abs(outlook.rate) / outlook.tolerance)
    return 100.0 * most.rate / most.tolerance, 100.0 * most.U_rate / most.tolerance


def _family(lookup: Lookup, standing: Standing) -> str:
    installed = instrument_on(standing.sensor, lookup.day)
    if installed is None:
        return ""
    family = lookup.records.families.get(installed.family)
    return family.name if family else installed.family


def _bars(lookup: Lookup, serving: Sequence[Standing]) -> Iterator[FleetBar]:
    for standing in serving:
        place, family = lookup.place(standing.settings.place.place), _family(lookup, standing)
        for drift in standing.drifts:
            share = _share(drift)
            if share is None:
                continue
            several = len(standing.settings.channels) > 1
            what = f"{standing.sensor.id} {drift.channel}" if several else standing.sensor.id
            yield FleetBar(
                group=f"{family}, {place}",
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
            share = _share(drift)
            first = drift.outlooks[leaves_first(drift.outlooks)] if drift.outlooks else None
            day, bounds = leaving_day(first) if first else ("", "")
            row = DriftRow(
                sensor=sensor_link(standing.sensor.id),
                name=standing.sensor.name,
                channel=str(drift.channel),
                chip=words.drift_chip(drift.state),
                rate=_rate(drift) if drift.outlooks else "",
                share=_percent(*share) if share else "",
                share_sort=f"{abs(share[0]):.6g}" if share else "",
                leaves=day,
                bounds=bounds,
                due=str(standing.due.day or ""),
                family=_family(lookup, standing),
                place=lookup.place(standing.settings.place.place),
            )
            found.append((-abs(share[0]) if share else 1.0, standing.sensor.id, str(drift.channel), row))
    return (row for *_, row in sorted(found, key=lambda one: one[:3]))


def _rate(drift: Drift) -> str:
    return f"{words.difference(drift.rate, drift.U)} {words.unit(drift.channel.unit)}"


def _percent(value: float, U: float) -> str:
    """`+24 ± 12 %`."""
    return f"{value_with(value, U, sign=True)} ± {expanded(U)} %" if U > 0 else NOTHING
