"""Verdicts that an edit of policy or tolerance makes: the head's readings judged as the base would judge them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.records.channels import Channel
from asfound.records.load import Records
from asfound.records.settings_in_force import SettingsOn
from asfound.review.assessed_side import Key

JUDGING = (*(key for channel in Channel for key in channel.judging_keys), "judged_at")
"""Keys of sensors and families that decide what is in tolerance."""


@dataclass(frozen=True, kw_only=True)
class VerdictByEdit:
    """One verdict that is what it is by an edit of what judges it."""

    result: Result
    """as it is at the head"""
    otherwise: Verdict
    """by the base's policy and tolerances"""
    path: str
    """the record that was edited"""


def judged_as(records: Records, base: Records) -> Records | None:
    """Records with the policies and tolerances of the base; None where these are the same."""
    sensors = {name: _as_before(sensor, base.sensors.get(name)) for name, sensor in records.sensors.items()}
    families = {name: _as_before(family, base.families.get(name)) for name, family in records.families.items()}
    facility = records.facility.model_copy(update={"policies": base.facility.policies})
    if (sensors, families, facility) == (records.sensors, records.families, records.facility):
        return None
    return replace(records, sensors=sensors, families=families, facility=facility)


def _as_before(record: Any, base: Any) -> Any:
    """A sensor or family with the base's judging keys, where it was there."""
    if base is None or all(getattr(record, key) == getattr(base, key) for key in JUDGING):
        return record
    return record.model_copy(update={key: getattr(base, key) for key in JUDGING})


def verdicts_by_edit(
    records: Records,
    base: Records,
    results: Mapping[Key, Result],
    results_of: Callable[[Records], Mapping[Key, Result]],
) -> list[VerdictByEdit]:
    """The verdicts at the head that the base's policy and tolerances would not give.

    `results_of` assesses the head's visits by other records.
    """
    otherwise = judged_as(records, base)
    if otherwise is None:
        return []
    by_base = results_of(otherwise)
    return [
        VerdictByEdit(result=result, otherwise=by_base[key].verdict, path=_edited(records, otherwise, result))
        for key, result in results.items()
        if key in by_base and by_base[key].verdict is not result.verdict
    ]


def _edited(records: Records, otherwise: Records, result: Result) -> str:
    """The record whose edit tells for a result: its sensor's, its family's, else the facility's."""
    if records.sensors.get(result.sensor) is not otherwise.sensors.get(result.sensor):
        return f"sensors/{result.sensor}.yml"
    sensor = records.sensors.get(result.sensor)
    model = SettingsOn(records, sensor, result.day).model if sensor else ""
    if records.families.get(model) is not otherwise.families.get(model):
        return f"families/{model}.yml"
    return "facility.yml"
