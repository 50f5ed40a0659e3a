"""Air that claims to be wetter than air can be: above saturation over water, or over ice below 0 °C.

Above saturation over water nothing in a chamber keeps a humidity: such a reference value is wrong. Between ice and
water air may be supersaturated for a while, until frost forms between where it was measured and the probe: what the
probe met is not known, and the value is doubtful. A sensor that shows too much may be wet: that is its error.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from asfound.faults import Fault, Rule, error, reservation
from asfound.humidity import settled_saturation_rh, water_to_ice_ratio
from asfound.humidity.domains import PRESSURE_RANGE_PA, TEMPERATURE_RANGE_C
from asfound.measurement.lines import Measurement
from asfound.measurement.reading_table import Cell
from asfound.records.load import Records
from asfound.records.models import Channel, Reference
from asfound.records.settings_in_force import SettingsOn, shows_ice

BEYOND_SATURATION = error("beyond-saturation", "a reference value is above saturation over water by more than its U")
ABOVE_ICE_SATURATION = reservation(
    "above-ice-saturation",
    "the air or the target is above saturation over ice, where frost forms",
    verdict=False,
    certificate=False,
)
INDICATION_BEYOND_SATURATION = reservation(
    "indication-beyond-saturation", "a sensor shows more than 100 %RH by more than its tolerance"
)


@dataclass(frozen=True, kw_only=True)
class Air:
    """The air of plateaus, shape (n,); humidities in the phase that the sensor shows, %RH; nan where not known."""

    humidity: np.ndarray
    U: np.ndarray
    """what a humidity may be wrong: expanded uncertainty of the error found with it"""
    target: np.ndarray
    shown: np.ndarray
    tolerance: np.ndarray
    over_ice: np.ndarray
    temperature_c: np.ndarray
    pressure_pa: np.ndarray


def _limits(over_ice: np.ndarray, temperature_c: np.ndarray, pressure_pa: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(what settled air keeps, saturation over water), both in the phase that the sensor shows, %RH."""
    settled, ratio = np.full(len(over_ice), 100.0), np.ones(len(over_ice))
    lowest, highest = TEMPERATURE_RANGE_C["water"][0], TEMPERATURE_RANGE_C["ice"][1]
    # A mean over rows of which physics refused some may be no state of air: it has no limit, and a fault already.
    cold = (lowest <= temperature_c) & (temperature_c < highest)
    cold &= (PRESSURE_RANGE_PA[0] <= pressure_pa) & (pressure_pa <= PRESSURE_RANGE_PA[1])
    settled[cold] = settled_saturation_rh(temperature_c[cold], pressure_pa[cold])
    iced = cold & over_ice
    ratio[iced] = water_to_ice_ratio(temperature_c[iced], pressure_pa[iced])
    return settled * ratio, 100.0 * ratio


def doubtful_air(air: Air) -> Iterator[tuple[int, Rule, str, str, str]]:
    """What is held against plateaus: position, rule, message, cure, and the column that it is about."""
    settled, over_water = _limits(air.over_ice, air.temperature_c, air.pressure_pa)
    frost = settled < over_water * (1.0 - 1e-9)
    in_air = air.humidity - air.U > settled
    aimed = air.target > settled * (1.0 + 1e-9)
    for i in np.flatnonzero(frost & (in_air | aimed)).tolist():
        value, column = (air.humidity[i], "reference") if in_air[i] else (air.target[i], "target")
        said = "by the reference" if in_air[i] else "aimed at"
        message = (
            f"{value:.1f} %RH {said}, saturation over ice is {settled[i]:.1f} %RH at {air.temperature_c[i]:.1f} degC"
        )
        cure = "check temperatures, condensate and rh_over; calibrate below saturation over ice, where no frost forms"
        yield i, ABOVE_ICE_SATURATION, message, cure, column
    allowed = np.where(np.isnan(air.tolerance), air.U, air.tolerance)
    for i in np.flatnonzero(air.shown - allowed > 100.0).tolist():
        message = f"the sensor shows {air.shown[i]:.1f} %RH: it may be wet"
        cure = "let it dry and repeat the point; look for water in the chamber and at the probe"
        yield i, INDICATION_BEYOND_SATURATION, message, cure, "sensor"


def beyond_saturation(records: Records, measurement: Measurement) -> list[Fault]:
    """Plateaus whose reference value is above saturation over water by more than the U of their error, once each."""
    U, lines = measurement.whole().U, measurement.lines
    value = np.array([line.reference_value if line.channel is Channel.HUMIDITY else np.nan for line in lines], float)
    # Saturation over water is higher in %RH over ice: whatever passes here passes there.
    wet = np.flatnonzero(value - U > 100.0)
    cells = [measurement.cells[lines[number].cell] for number in wet.tolist()]
    over_ice = np.array([shows_ice(_shown_by(records, cell)) for cell in cells], bool)
    temperature_c = np.array([measurement.temperature_c[lines[number].cell] for number in wet.tolist()], float)
    pressure_pa = np.array([measurement.pressure_pa[lines[number].cell] for number in wet.tolist()], float)
    _, most = _limits(over_ice, temperature_c, pressure_pa)
    faults: dict[int, Fault] = {}
    for i in np.flatnonzero(value[wet] - U[wet] > most).tolist():
        message = (
            f"{value[wet[i]]:.1f} ± {U[wet[i]]:.1f} %RH by the reference: air holds at most {most[i]:.1f} %RH, "
            "saturation over water"
        )
        cure = "check this plateau's readings and their units, and whether water stood where the reference measures"
        place = cells[i].sensor_visit.visit.place(cells[i].plateau.rows[0], "reference")
        fault = Fault(rule=BEYOND_SATURATION, place=place, message=message, cure=cure)
        faults.setdefault(lines[int(wet[i])].cell, fault)
    return list(faults.values())


def _shown_by(records: Records, cell: Cell) -> SettingsOn | Reference | None:
    """What is under test in a plateau: a sensor with its settings of the day, or a reference."""
    part = cell.sensor_visit
    sensor = records.sensors.get(part.sensor)
    return SettingsOn(records, sensor, part.visit.day) if sensor else records.references.get(part.sensor)
