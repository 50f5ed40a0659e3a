"""The vocabulary of a visit's CSV: every column, what may stand in it, what it means."""

from __future__ import annotations

from dataclasses import dataclass

from asfound.records.channels import Channel

PHASES = ("as_found", "as_left", "adjusted", "check", "withdrawn")
"""`check`: a reference checked between calibrations; `withdrawn`: voids the sensor's rows of this visit."""
READING_PHASES = ("as_found", "as_left", "check")
MEDIA = ("chamber", "salt cell", "in air")
CONDENSATES = ("dew", "frost")
ADJUSTMENTS = ("none", "zero", "span", "table", "element")
CONDITIONS = ("clean", "dirty", "wet", "cap changed", "damaged")


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: `quantities` empty means text; `choices` the words that may stand in it."""

    name: str
    meaning: str
    quantities: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    plain_number: bool = False

    @property
    def is_number(self) -> bool:
        """Whether the column holds numbers."""
        return bool(self.quantities) or self.plain_number


_SIGNALS = ("current", "voltage")

COLUMNS: dict[str, Column] = {
    column.name: column
    for column in (
        Column(name="sensor", meaning="id of the sensor, or of a reference that is calibrated or checked here"),
        Column(name="time", meaning="local `YYYY-MM-DD HH:MM[:SS]`; with an offset only in the repeated hour"),
        Column(name="phase", meaning="what the row is", choices=PHASES),
        Column(name="target", meaning="humidity aimed at", quantities=("humidity",)),
        Column(name="serial", meaning="serial number as seen on the instrument"),
        Column(name="condition", meaning="state of the instrument as seen", choices=CONDITIONS),
        Column(
            name="in_use",
            meaning="hours-of-use counter as read at the visit: for intervals by time in use",
            quantities=("duration",),
        ),
        Column(
            name="output",
            meaning="reading at the sensor: its display, or the signal of its loop",
            quantities=(Channel.HUMIDITY.value, *_SIGNALS),
        ),
        Column(
            name="far_end",
            meaning="reading at the far end of the loop; beside `output` the error splits into sensor and loop",
            quantities=("humidity",),
        ),
        Column(name="loop_meter", meaning="id of the meter that read mA or V"),
        Column(
            name="output_temperature",
            meaning="temperature reading at the sensor",
            quantities=(Channel.TEMPERATURE.value, *_SIGNALS),
        ),
        Column(
            name="far_end_temperature",
            meaning="temperature reading at the far end",
            quantities=("temperature",),
        ),
        Column(name="reference", meaning="id of the reference standard"),
        Column(name="technician", meaning="id of the person"),
        Column(name="soak", meaning="minutes at the point before the first reading", quantities=("duration",)),
        Column(name="note", meaning="free text"),
        Column(
            name="log", meaning="log below `logs/` whose means over a window are the row's readings; ending optional"
        ),
        Column(name="log_from", meaning="beginning of the log's window, written as time is"),
        Column(name="log_until", meaning="end of the log's window, written as time is"),
        Column(name="medium", meaning="where probe and reference meet; blank: `chamber`", choices=MEDIA),
        Column(name="saturation_pressure", meaning="pressure of the saturator", quantities=("pressure",)),
        Column(name="saturation_temperature", meaning="temperature of the saturator", quantities=("temperature",)),
        Column(name="chamber_pressure", meaning="pressure at the probe", quantities=("pressure",)),
        Column(name="chamber_temperature", meaning="temperature at the probe", quantities=("temperature",)),
        Column(name="mirror_temperature", meaning="temperature of the mirror", quantities=("temperature",)),
        Column(name="condensate", meaning="what stands on the mirror", choices=CONDENSATES),
        Column(
            name="mirror_pressure",
            meaning="pressure at the mirror, where it is not the chamber's",
            quantities=("pressure",),
        ),
        Column(name="salt", meaning="salt of a saturated salt cell, by formula, or name of a certified cell"),
        Column(name="reference_humidity", meaning="humidity shown by a transfer probe", quantities=("humidity",)),
        Column(
            name="reference_temperature",
            meaning="temperature at the transfer probe",
            quantities=("temperature",),
        ),
        Column(
            name="air_temperature",
            meaning="in air: temperature at the sensor under test",
            quantities=("temperature",),
        ),
        Column(name="stated_reference", meaning="another laboratory's reference value", quantities=("humidity",)),
        Column(name="stated_error", meaning="another laboratory's error", quantities=("humidity",)),
        Column(name="stated_U", meaning="another laboratory's expanded uncertainty", quantities=("humidity",)),
        Column(name="stated_k", meaning="its coverage factor, as stated", plain_number=True),
        Column(
            name="stated_nu", meaning="its degrees of freedom, where stated; else k implies them", plain_number=True
        ),
        Column(
            name="ambient_pressure",
            meaning="pressure of the room; needed under a gauge pressure",
            quantities=("pressure",),
        ),
        Column(name="barometer", meaning="id of the instrument that read ambient_pressure"),
        Column(name="room_temperature", meaning="temperature of the room", quantities=("temperature",)),
        Column(name="room_humidity", meaning="humidity of the room", quantities=("humidity",)),
        Column(name="adjustment", meaning="what an `adjusted` row did", choices=ADJUSTMENTS),
        Column(name="from", meaning="setting or serial before the adjustment"),
        Column(name="to", meaning="setting or serial after it"),
        Column(name="reason", meaning="why a later revision replaces or withdraws"),
    )
}
REQUIRED = ("sensor", "time", "phase")
SHARED_WORDS = ("condensate", "salt", "barometer", "medium")
INDICATIONS = tuple(column for channel in Channel for column in channel.declaration.columns)
"""What is read of the sensor under test."""
LOG = ("log", "log_from", "log_until")
"""What a row names in place of readings: a log of the visit and a window, whose means are computed at every build."""
STATED_ALWAYS = ("stated_reference", "stated_error", "stated_U")
STATED = (*STATED_ALWAYS, "stated_k", "stated_nu")
