"""What the calibration of a reference found, carried back to the visits since the calibration before.

Between two calibrations a reference is held to have wandered evenly from what the earlier one gave for use to what the
later one found. Each visit between them is measured again with its share of that change. It is an opinion, and alters
nothing by itself: it says what the change would have done.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from asfound.assessment.assess import Assessment
from asfound.assessment.references.recalibrations import Recalibration, recalibrations
from asfound.measurement.shifts import Shift
from asfound.retrace.retrace import Retrace, Retracer


@dataclass(frozen=True, kw_only=True)
class CarriedBack:
    """The calibrations of a reference on one day, carried back."""

    reference: str
    day: date
    found: tuple[Recalibration, ...]
    """one for each quantity that was calibrated on that day and before"""
    retrace: Retrace


def carried_back(assessment: Assessment) -> Mapping[str, tuple[CarriedBack, ...]]:
    """By reference, its calibrations that can be compared with the one before, newest first.

    Each day's are carried back by themselves, so that no cause hides behind another.
    """
    retracer = Retracer(assessment)
    by_day: dict[tuple[str, date], list[Recalibration]] = {}
    for one in recalibrations(assessment.records, assessment.measurement, assessment.day):
        by_day.setdefault((one.reference, one.day), []).append(one)
    found: dict[str, list[CarriedBack]] = {}
    for (reference, day), those in sorted(by_day.items(), reverse=True):
        retrace = retracer.retrace([wandered(one) for one in those])
        carried = CarriedBack(reference=reference, day=day, found=tuple(those), retrace=retrace)
        found.setdefault(reference, []).append(carried)
    return {reference: tuple(all_of_it) for reference, all_of_it in sorted(found.items())}


def wandered(one: Recalibration) -> Shift:
    """The change that was found, at each reading: none on the day of the calibration before, all of it on its own."""
    first, days = np.datetime64(one.before, "D"), float((one.day - one.before).days)

    def value(reading: np.ndarray, day: np.ndarray) -> np.ndarray:
        change = one.found.error_at(reading) - one.in_use.error_at(reading)
        return np.asarray(change * (day - first).astype(float) / days)

    return Shift(
        reference=one.reference,
        quantity=one.quantity,
        since=one.before,
        until=one.day - timedelta(days=1),
        value=value,
    )
