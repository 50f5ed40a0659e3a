"""One set of records for each reference method, all its sources at work, beside an independent value of the humidity.

CoolProp (moist air after ASHRAE RP-1485) carries the mole fraction of water from where the air was saturated to the
probe. It shares no code and no coefficients with the program.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from CoolProp.HumidAirProp import HAPropsSI

from tests import builders as b
from tests.builders import Files, Row

ZERO_C = 273.15
KPA = 1e3


def carried(saturated_c: float, saturated_pa: float, probe_c: float, probe_pa: float, *, share: float = 1.0) -> float:
    """%RH at the probe of air that was saturated elsewhere; below 0 °C over ice at both places."""
    water = HAPropsSI("Y", "T", saturated_c + ZERO_C, "P", saturated_pa, "R", 1.0)
    return 100.0 * share * HAPropsSI("R", "T", probe_c + ZERO_C, "P", probe_pa, "Y", water)


def moved(rh: float, from_c: float, to_c: float, pressure_pa: float) -> float:
    """%RH of air that is warmed or cooled at one pressure."""
    water = HAPropsSI("Y", "T", from_c + ZERO_C, "P", pressure_pa, "R", rh / 100.0)
    return 100.0 * HAPropsSI("R", "T", to_c + ZERO_C, "P", pressure_pa, "Y", water)


@dataclass(frozen=True)
class Method:
    """Records of one plateau at `target`, the true reference humidity in %RH, and how far models may differ."""

    files: Files
    reading: Row
    target: float
    truth: float
    tolerance: float
    source: str = "CoolProp: conservation of the mole fraction"
    columns: Row = field(default_factory=dict)


def worn_generator(**keys: object) -> Files:
    """A two-pressure humidity generator with every source that its record can declare."""
    quantities = {
        "saturation_pressure": b.quantity(
            b.calibration(
                b.point("0 kPa", "0.05 kPa", "0.2 kPa"),
                b.point("700 kPa", "0.30 kPa", "0.5 kPa"),
                b.point("1500 kPa", "-0.20 kPa", "0.9 kPa"),
                correlation="zero_span",
                drift="0.4 kPa/year",
            ),
            resolution="0.01 kPa",
        ),
        "saturation_temperature": b.quantity(
            b.calibration(
                b.point("0 degC", "0.010 degC", "0.03 degC", 2.1),
                b.point("25 degC", "0.020 degC", "0.03 degC", 2.1),
                b.point("60 degC", "0.010 degC", "0.05 degC", 2.1),
                declared="correction",
                correlation="independent",
                drift="0.02 degC/year",
            ),
            resolution="0.01 degC",
        ),
        "chamber_pressure": b.flat(0, 150, "kPa", 0.06, value=0.02, drift="0.05 kPa/year"),
        "chamber_temperature": b.flat(0, 60, "degC", 0.03, value=0.015, drift="0.02 degC/year"),
    }
    common = {
        "name": "bath",
        "u": "0.01 degC",
        "quantities": ["saturation_temperature", "chamber_temperature"],
        "date": b.CALIBRATED,
    }
    default = {
        "common": [common],
        "saturator_gradient": "0.03 degC",
        "chamber_gradient": "0.04 degC",
        "lowest_efficiency": "99.8 %",
        "pressure_drop": "0.1 kPa",
    }
    return b.two_pressure(quantities=quantities, **{**default, **keys})


def _over_two_states(
    target: float, saturation_c: float, chamber_c: float, chamber_pa: float, *, gauge: bool = False
) -> Method:
    """A worn generator's point: readings are what its transducers show, the truth is what they mean."""
    reading = b.generated(target, saturation_c, chamber_c, chamber_pa, gauge=gauge)
    kind, zero = ("gauge", b.ROOM_PA) if gauge else ("absolute", 0.0)
    shown_pa = 1e3 * reading[f"saturation_pressure [kPa {kind}]"]
    if shown_pa < 700e3:  # the table's error at what is shown
        error_pa = 50.0 + 250.0 * shown_pa / 700e3
    else:
        error_pa = 300.0 - 500.0 * (shown_pa - 700e3) / 800e3
    saturated_pa = shown_pa - error_pa + zero + 50.0  # half of what is lost behind the saturator
    corrected_c = saturation_c + (0.010 + 0.010 * saturation_c / 25.0 if saturation_c <= 25.0 else 0.0)
    truth = carried(corrected_c, saturated_pa, chamber_c - 0.015, chamber_pa - 20.0, share=0.999)
    files = b.records(b.sensor(), worn_generator(), b.barometer())
    return Method(files, reading, target, truth, 0.012)


def _mirrored(
    mirror_c: float, air_c: float, condensate: str, mirror_pa: float | None = None, ice: bool = False
) -> Method:
    settings = {"rh_over": "ice"} if ice else {}
    files = b.records(b.family(**settings), b.sensor(), b.chilled_mirror(chamber_gradient="0.05 degC"))
    reading = b.mirrored(mirror_c, air_c, condensate, b.ROOM_PA, mirror_pa)
    truth = carried(mirror_c, mirror_pa or b.ROOM_PA, air_c, b.ROOM_PA)
    return Method(files, reading, round(truth), truth, 0.012 if condensate == "dew" else 0.03)


def _over_salt(salt: str, celsius: float, published: float, tolerance: float) -> Method:
    salts = b.saturated_salt(chamber_gradient="0.1 degC", salt_condition="0.2 %RH")
    source = "Greenspan 1977, J. Res. NBS 81A:89-96, Table 2 (from memory)"
    return Method(
        b.records(b.sensor(), salts), b.over_salt(salt, celsius), round(published), published, tolerance, source
    )


def worn_probe(**keys: object) -> Files:
    """A transfer probe with every source that its record can declare."""
    humidity = b.calibration(
        b.point("10 %RH", "0.10 %RH", "0.5 %RH"),
        b.point("50 %RH", "0.30 %RH", "0.6 %RH"),
        b.point("90 %RH", "0.20 %RH", "0.9 %RH"),
        correlation="independent",
        drift="0.5 %RH/year",
    )
    default = {
        "hysteresis": "0.4 %RH",
        "temperature_coefficient": "0.02 %RH/degC",
        "calibration_temperature": "23 degC",
        "chamber_gradient": "0.05 degC",
        "instability": "0.2 %RH",
        "vapour_gradient": "0.1 %RH",
    }
    return b.transfer_probe(quantities={"reference_humidity": b.quantity(humidity)}, **{**default, **keys})


def _by_probe(shown: float, probe_c: float, air_c: float | None) -> Method:
    corrected = shown - (0.1 + 0.2 * (shown - 10.0) / 40.0)  # between the points at 10 and 50 %RH
    truth = corrected if air_c is None else moved(corrected, probe_c, air_c, b.ROOM_PA)
    files = b.records(b.sensor(), worn_probe(), b.barometer())
    return Method(files, b.by_probe(shown, probe_c, air_c), round(truth), truth, 0.005)


METHODS: dict[str, Method] = {
    "two-pressure, 10 %RH": _over_two_states(10.0, 23.0, 23.0, 101_325.0),
    "two-pressure, 50 %RH": _over_two_states(50.0, 25.0, 25.5, 101_000.0),
    "two-pressure, 90 %RH": _over_two_states(90.0, 22.0, 22.1, 102_000.0),
    "two-pressure, gauge": _over_two_states(35.0, 21.0, 21.0, 101_500.0, gauge=True),
    "mirror, dew": _mirrored(10.0, 25.0, "dew"),
    "mirror, its own pressure": _mirrored(10.0, 25.0, "dew", mirror_pa=99_325.0),
    "mirror, frost": _mirrored(-12.0, 20.0, "frost"),
    "mirror, frost, sensor over ice": _mirrored(-14.0, -10.0, "frost", ice=True),
    "salt": _over_salt("NaCl", 25.0, 75.29, 0.02),
    "probe in the chamber": _by_probe(35.0, 24.0, None),
    "probe in air": _by_probe(38.0, 22.0, 23.5),
}


def at_work(name: str, *, outputs: tuple[float, ...] = (), reading: Row | None = None, **columns: object) -> Files:
    """Records of a method with one plateau of the sensor, three readings about its target."""
    method = METHODS[name]
    shown = outputs or (method.target + 0.3, method.target + 0.4, method.target + 0.35)
    plateau = b.plateau(method.target, shown, reading or method.reading, **columns)
    return method.files | b.visit("2026-03-16-lab", plateau)
