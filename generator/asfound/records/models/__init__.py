"""Every model of the YAML records, by the kind of record that it reads."""

from __future__ import annotations

from asfound.records.channels import Channel
from asfound.records.models.facility import (
    CertificateWording,
    Facility,
    Finding,
    Intervals,
    People,
    Person,
    Place,
    Policy,
    Settling,
    Told,
)
from asfound.records.models.fields import Record
from asfound.records.models.log_mapping import LogMapping
from asfound.records.models.periods import Dated, Known, Period, Timeline, in_force
from asfound.records.models.references import Reference
from asfound.records.models.sensors import (
    Band,
    ChannelDefaults,
    Family,
    Installed,
    Interval,
    Limits,
    MeasuringRange,
    OutOfUse,
    PlacePeriod,
    Points,
    ProcessLimits,
    Scaling,
    Sensor,
    SensorSettings,
    TimeConstant,
    Tolerance,
)

__all__ = [
    "RECORD_MODELS",
    "Band",
    "CertificateWording",
    "Channel",
    "ChannelDefaults",
    "Dated",
    "Facility",
    "Family",
    "Finding",
    "Installed",
    "Interval",
    "Intervals",
    "Known",
    "Limits",
    "LogMapping",
    "MeasuringRange",
    "OutOfUse",
    "People",
    "Period",
    "Person",
    "Place",
    "PlacePeriod",
    "Points",
    "Policy",
    "ProcessLimits",
    "Record",
    "Reference",
    "Scaling",
    "Sensor",
    "SensorSettings",
    "Settling",
    "TimeConstant",
    "Timeline",
    "Told",
    "Tolerance",
    "in_force",
]

RECORD_MODELS: dict[str, type[Record]] = {
    "facility": Facility,
    "people": People,
    "family": Family,
    "sensor": Sensor,
    "reference": Reference,
    "finding": Finding,
    "log": LogMapping,
}
