"""What surrounds a finding, in words: since when, by how much, for how long, and what the place's other sensors say."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from asfound.assessment.findings.cases import Case
from asfound.assessment.findings.error_path import Basis, Crossed
from asfound.assessment.findings.exposure import Exposure, Hours, Neighbour, Size, TrendExposure
from asfound.measurement.cell_sources import Part
from asfound.records.models import Channel, Sensor
from asfound.records.settings_in_force import SettingsOn
from asfound.rounding import NOTHING, expanded, fixed, value_with
from asfound.site.charts.exposure import exposure_chart
from asfound.site.lookup.lookup import Lookup, sensor_link
from asfound.wording import words
from asfound.wording.words import Fact, Link

TOLD_STUCK = 3
"""So many stretches in which a value stood still are named, and the others counted."""
WHOLE = 0.5
"""Hours without a value that are not worth a word."""
WELL_COVERED = 0.9
"""A window of which less has values has its coverage told wherever its hours are."""


@dataclass(frozen=True, kw_only=True)
class NeighbourRow:
    """Another sensor of the place."""

    sensor: Link
    name: str
    left: str
    found: str
    difference: str


@dataclass(frozen=True, kw_only=True)
class MonthRow:
    """The corrected humidity of one month, %RH."""

    month: str
    lowest: str
    mean: str
    highest: str
    outside: str
    """days on which some of it left the process limits"""


@dataclass(frozen=True, kw_only=True)
class ExposureView:
    """Everything about the time before an error was found."""

    since: tuple[str, ...]
    size: tuple[str, ...]
    hours: tuple[Fact, ...]
    meaning: str
    said: tuple[str, ...]
    """what stands against the hours, or why there are none"""
    neighbours: tuple[NeighbourRow, ...]
    compared: str
    chart: str | None
    months: tuple[MonthRow, ...]
    days: Link
    """every day as CSV, where there is a trend"""


def exposure_view(lookup: Lookup, case: Case) -> ExposureView | None:
    """What surrounds a case; None where it was not looked into."""
    exposure, sensor = case.exposure, lookup.records.sensors[case.sensor]
    if exposure is None:
        return None
    trend = exposure.trend
    return ExposureView(
        since=tuple(_since(lookup, case, exposure)),
        size=tuple(_size(sensor, case, exposure.size)) if exposure.size else (),
        hours=tuple(_hours(sensor, trend, exposure.basis)) if trend else (),
        meaning=_meaning(sensor, trend) if trend else "",
        said=tuple(_said(lookup, case, trend)) if trend else (_sentence(exposure.no_trend),),
        neighbours=tuple(_neighbour(lookup, neighbour) for neighbour in exposure.neighbours),
        compared=_compared(case, exposure),
        chart=exposure_chart(sensor, case, _local_day(lookup, exposure.start)) if trend else None,
        months=tuple(_months(sensor, trend)) if trend else (),
        days=Link(text="every day as CSV", path=days_path(case)),
    )


def days_path(case: Case) -> str:
    """Where the corrected humidity of a finding's days is published, inside the site."""
    return f"findings/{case.sensor}/{case.visit}.days.csv"


def hours_in_short(case: Case) -> str:
    """`outside its limits 40 h if the error changed evenly (95 %: 27 to 59 h), …`; blank where it is not known."""
    said = hours_outside(case)
    return f"outside its limits {said}" if said else ""


def hours_outside(case: Case) -> str:
    """Hours outside and what bounds them, in the same words wherever they stand; blank where they are not known.

    `40 h if the error changed evenly (95 %: 27 to 59 h), 9 to 161 h if it came in one step on any day`.
    """
    exposure = case.exposure
    trend = exposure.trend if exposure else None
    if exposure is None or trend is None or trend.hours is None:
        return ""
    said = _counted(trend.hours, exposure.basis)
    if trend.stepped is not None:
        said += f", {_range(trend.stepped)} if it came in one step on any day"
    whole = trend.covered >= WELL_COVERED * trend.window
    return said if whole else f"{said}; in the {_h(trend.covered, '')} of {_h(trend.window)} with a value"


def days_of(lookup: Lookup, case: Case) -> str:
    """Days of the window; blank where nothing bounds it."""
    if case.exposure is None:
        return ""
    return str((case.day - _local_day(lookup, case.exposure.start)).days)


def _local_day(lookup: Lookup, time_utc: int) -> date:
    return date.fromisoformat(lookup.local(time_utc)[:10])


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _h(hours: float, unit: str = " h") -> str:
    return f"{fixed(hours, 0)}{unit}"


def _range(bounds: tuple[float, float]) -> str:
    return f"{_h(bounds[0], '')} to {_h(bounds[1])}"


def _since(lookup: Lookup, case: Case, exposure: Exposure) -> Iterator[str]:
    start = _local_day(lookup, exposure.start)
    length = words.counted((case.day - start).days, "day")
    yield f"{_sentence(exposure.opened).removesuffix('.')}; found out of tolerance on {case.day}, {length} later."
    if exposure.crossed is not None:
        yield _crossed(exposure.crossed)
    elif exposure.basis is Basis.BETWEEN:
        yield (
            "No drift line foretold what was found, so when the error began is not known: some time between the two. "
            "Hours are counted as if it had changed evenly between visits, and beside that for a step on any day."
        )
    else:
        yield (
            "When the error began is not known: some time between the two. Hours are counted as if it had been there "
            "from the first day, and beside that for a step from no error on any day."
        )


def _crossed(crossed: Crossed) -> str:
    start = f"{crossed.earliest}, the first day of the window," if crossed.before else str(crossed.earliest)
    end = str(crossed.latest) if crossed.latest else "the day it was found"
    return (
        f"By the drift line the true error passed the limit about {crossed.median}; with a probability of 95 % between "
        f"{start} and {end}."
    )


def _size(sensor: Sensor, case: Case, size: Size) -> Iterator[str]:
    symbol = words.unit(case.worst.unit)
    at = f"{size.at:g} {symbol}"
    said = (
        f"At {at}, where the sensor works, the error was {words.difference(size.error, size.U)} {symbol} (U with what "
        "differs from visit to visit)"
    )
    if math.isfinite(size.true_when_shown):
        holds = sensor.controls and case.worst.channel is Channel.HUMIDITY
        verb = "held by" if holds else "shown by"
        truth = f"{value_with(size.true_when_shown, size.U)} ± {expanded(size.U)} {symbol}"
        said += f": with {at} {verb} it, the air was at {truth}"
        there = words.difference(size.at - size.true_when_shown, size.U)
        if there != words.difference(size.error, size.U):  # the error is not the same at every humidity
            said += f" (there the error was {there} {symbol})"
    yield f"{said}."
    if size.held:
        yield f"{at} lies outside the points that were read: the error of the nearest is taken."


def _hours(sensor: Sensor, trend: TrendExposure, basis: Basis) -> Iterator[Fact]:
    limits = sensor.process_limits
    if limits is not None and trend.hours is not None and trend.shown is not None:
        span = f"{limits.lowest:g} to {limits.highest:g} %RH"
        yield Fact(name=f"Outside {span}, corrected", value=f"{_counted(trend.hours, basis)}{_sides(trend.hours)}")
        if trend.stepped is not None:
            yield Fact(name=f"Outside {span}, if it came in one step on any day", value=_range(trend.stepped))
        yield Fact(name=f"Outside {span}, as shown", value=_h(trend.shown))
    yield Fact(name="Hours with a value", value=f"{_h(trend.covered, '')} of {_h(trend.window)}")
    for path, sha256 in trend.files:
        yield Fact(name="Trend", value=path, note=f"SHA-256 {sha256}")


_IF = {
    Basis.LINE: "",
    Basis.BETWEEN: " if the error changed evenly",
    Basis.HELD: " if the error was there throughout",
}
"""What the hours and their bounds rest on; how the error came about is not among the bounds."""


def _counted(hours: Hours, basis: Basis) -> str:
    return f"{_h(hours.best)}{_IF[basis]} (95 %: {_range((hours.least, hours.most))})"


def _sides(hours: Hours) -> str:
    sides = [f"{_h(amount)} too {side}" for amount, side in ((hours.dry, "dry"), (hours.damp, "damp")) if amount]
    return f"; {words.listed(sides)}" if sides else ""


def _meaning(sensor: Sensor, trend: TrendExposure) -> str:
    if trend.hours is None or trend.shown is None:
        return ""
    if sensor.controls:
        return "The sensor drives the plant, so its error moved the air itself: hours outside may be its doing."
    if trend.hours.best - trend.shown > WHOLE:
        return "The sensor drives nothing: the air was outside for another reason, and the error hid some of the hours."
    if trend.shown - trend.hours.best > WHOLE:
        return "The sensor drives nothing: its error showed hours outside that the air did not spend there."
    return "The sensor drives nothing: its error moved the record, not the air."


def _said(lookup: Lookup, case: Case, trend: TrendExposure) -> Iterator[str]:
    sensor = lookup.records.sensors[case.sensor]
    yield (
        "Every value was corrected by solving R + E(R) = indication with the error of its day. The uncertainty of the "
        "error is taken as one over the window: the hours are counted with the whole trend moved by up to ± U."
    )
    if sensor.process_limits is None:
        yield "No process limits of the sensor are on record, so hours outside cannot be counted."
    wired = SettingsOn(lookup.records, sensor, case.day).whole("signal") in ("current", "voltage")
    if case.worst.part is Part.SENSOR and (wired or math.isfinite(case.worst.error_loop)):
        yield "The errors were read at the sensor: what the loop to the building system adds is not corrected."
    if trend.window - trend.covered > WHOLE:
        yield f"{_h(trend.window - trend.covered)} of the window have no value: nothing is said of them."
    if trend.visits:
        yield f"{_h(trend.visits)} around calibrations are left out: the sensor was in a chamber."
    if trend.left_out:
        count = words.counted(trend.left_out, "value")
        yield f"{count} of the trend {'was' if trend.left_out == 1 else 'were'} no humidity, and left out."
    for start, _ in trend.unplaced:
        day, clock = lookup.local(start).split("T")
        yield (
            f"On {day} the clocks repeated the time from {clock}, and the order of the trend's rows does not tell in "
            "which of the two passes its values were recorded: they are left out."
        )
    for start, end, value in trend.stuck[:TOLD_STUCK]:
        first, last = (lookup.local(time).replace("T", " ") for time in (start, end))
        yield f"The trend stood still at {value:g} %RH from {first} to {last}: was the sensor alive?"
    if len(trend.stuck) > TOLD_STUCK:
        yield f"It stood still {words.counted(len(trend.stuck) - TOLD_STUCK, 'more time')} for over a day."
    if trend.beyond > WHOLE:
        yield (
            f"{_h(trend.beyond)} lay outside the points that were read: there the error of the outermost point is "
            "taken, and its U is too small."
        )


def _months(sensor: Sensor, trend: TrendExposure) -> Iterator[MonthRow]:
    limits = sensor.process_limits
    for month, days in groupby(trend.days, key=lambda day: f"{day.day:%Y-%m}"):
        held = list(days)
        outside = sum(
            limits is not None and not (limits.lowest <= d.lowest and d.highest <= limits.highest) for d in held
        )
        yield MonthRow(
            month=month,
            lowest=fixed(min(d.lowest for d in held), 1),
            mean=fixed(sum(d.mean for d in held) / len(held), 1),
            highest=fixed(max(d.highest for d in held), 1),
            outside=f"{outside} of {len(held)}" if limits is not None else NOTHING,
        )


def _neighbour(lookup: Lookup, neighbour: Neighbour) -> NeighbourRow:
    difference = "no trends to compare"
    if neighbour.difference is not None:
        difference = f"{fixed(neighbour.difference, 1, sign=True)} %RH over {_h(neighbour.hours)}"
    return NeighbourRow(
        sensor=sensor_link(neighbour.sensor),
        name=lookup.records.sensors[neighbour.sensor].name,
        left=_judged(neighbour.left),
        found=_judged(neighbour.found),
        difference=difference,
    )


def _judged(judged: tuple[date, str] | None) -> str:
    return f"{judged[1]}, {judged[0]}" if judged else "not judged"


def _compared(case: Case, exposure: Exposure) -> str:
    if not any(n.difference is not None for n in exposure.neighbours):
        return ""
    return f"Compared as shown, over the week before the visit: the other's reading less that of {case.sensor}."
