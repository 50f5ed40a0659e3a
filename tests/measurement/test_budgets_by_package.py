"""A whole budget of each method, further sources and all, beside GTC's of the same inputs with CoolProp's physics.

Of no method could a published budget be read with its result (for what was read of generators see
test_published_budgets.py): a scalar package takes its place. The records are invented. The program must have the very
sources that are written down here, each with its signed contribution, and u, ν_eff (Welch–Satterthwaite) and U as
GTC has them. What is left is how the slopes of the formulas differ: a ten-thousandth of u at most.
"""

from __future__ import annotations

import math

from tests import builders as b
from tests.humidity.published_checks import table
from tests.measurement.lab import Lab, measured
from tests.measurement.methods import carried, moved
from tests.measurement.scalar import Number, Scalar, differences, relative_slope, through, vapour_pressure

VISIT, SENT = "2026-03-16-lab", "2026-01-12"
DAYS = 63.0
YEARS, MONTHS = DAYS / 365.25, DAYS / (365.25 / 12.0)
ENHANCEMENT_PER_PA, WATER_RELATIVE, ICE_RELATIVE = 1.0e-9, 1.2e-4, 1.0e-3
"""half-widths of the formulas, as the Method page states them"""
AT = 1773648000
"""2026-03-16 08:00 UTC, by which a plateau's sources are named"""
PLATEAU, SENSOR = f"{VISIT}/RH-1/1", f"{VISIT}/RH-1"


def lab_of(reference: b.Files, target: float, outputs: list[float], reading: b.Row, **columns: object) -> Lab:
    """A sensor with its own scatter, warmed by 0.02 K at most, at one plateau."""
    family = b.family(humidity={"resolution": "0.01 %RH"}, self_heating="0.02 degC")
    rows = b.plateau(target, outputs, reading, **columns)
    return measured(b.records(family, b.sensor(), b.barometer(), reference, b.visit(VISIT, rows)))


def agree(found: dict[str, float]) -> None:
    """Values as near as the formulas are; slopes leave 1e-4 of u at most, and so four times that of ν."""
    assert found["error"] <= 0.009, found
    assert max(found["u"], found["U"], found["contribution"]) <= 2e-4 and found["nu"] <= 6e-4, found


def heated(scalar: Scalar, rh: float, celsius: float) -> Number:
    """What the sensor shows less in air that it warms, as an error."""
    return rh * relative_slope(celsius) * scalar.limit("RH-1/RH-1-A/self_heating", 0.02)


def test_a_two_pressure_budget_agrees_with_gtc():
    """Gauge transducers with one barometer, one bath for both thermometers, and four sources more."""
    generator = b.two_pressure(
        quantities={
            "saturation_pressure": b.quantity(
                b.calibration(
                    b.point("0 kPa", "0.05 kPa", "0.2 kPa"),
                    b.point("1500 kPa", "-0.25 kPa", "0.9 kPa"),
                    correlation="zero_span",
                    drift="0.4 kPa/year",
                ),
                resolution="0.01 kPa",
            ),
            "saturation_temperature": b.quantity(
                b.calibration(
                    b.point("0 degC", "0.010 degC", "0.03 degC", 2.28),
                    b.point("60 degC", "0.022 degC", "0.05 degC", 2.28),
                    correlation="independent",
                ),
                resolution="0.01 degC",
            ),
            "chamber_pressure": b.flat(0, 150, "kPa", 0.06, value=0.02, resolution="0.01 kPa"),
            "chamber_temperature": b.flat(0, 60, "degC", 0.03, value=0.015, resolution="0.01 degC"),
        },
        common=[
            {
                "name": "bath",
                "u": "0.01 degC",
                "quantities": ["saturation_temperature", "chamber_temperature"],
                "date": SENT,
            }
        ],
        saturator_gradient="0.03 degC",
        chamber_gradient="0.04 degC",
        lowest_efficiency="99.8 %",
        pressure_drop="0.1 kPa",
        further=[
            {
                "name": "tube",
                "label": "flow past the tap",
                "of": "saturation_pressure",
                "lasts": "calibration",
                "per": "month",
                "u": "60 Pa",
                "nu": "5",
                "correction": "80 Pa",
            },
            {
                "name": "fan",
                "label": "fan",
                "of": "chamber_temperature",
                "lasts": "visit",
                "U": "0.08 degC",
                "k": "2.37",
            },
            {"name": "valve", "label": "valve", "of": "humidity", "lasts": "plateau", "u": "0.12 %RH", "nu": "4"},
            {
                "name": "cycle",
                "label": "control",
                "of": "humidity",
                "lasts": "longer",
                "per": "value",
                "limit": "0.1 %",
                "distribution": "u_shaped",
            },
        ],
    )
    outputs = [50.31, 50.44, 50.28, 50.36]
    reading = b.generated(50.0, 25.0, 25.4, 101_525.0, gauge=True)
    lab = lab_of(generator, 50.0, outputs, reading)

    s, place = Scalar(), f"GEN-01/{SENT}"
    shown_pa = 1e3 * float(reading["saturation_pressure [kPa gauge]"])
    room = s.u(f"BAR-01/{SENT}/ambient_pressure/calibration", 25.0)
    room += b.ROOM_PA + s.limit(f"BAR-01/{VISIT}/{AT}/ambient_pressure/resolution 0.5", 0.25)
    saturation_pa = shown_pa - (50.0 - 300.0 * shown_pa / 1.5e6) + 50.0 + 80.0 * MONTHS + room
    saturation_pa += s.u(f"{place}/saturation_pressure/calibration/zero", 100.0)
    saturation_pa += s.u(f"{place}/saturation_pressure/calibration/span", math.sqrt(450.0**2 - 100.0**2)) * (
        shown_pa / 1.5e6
    )
    saturation_pa += YEARS * s.limit(f"{place}/saturation_pressure/drift", 400.0)
    saturation_pa += MONTHS * s.u(f"{place}/saturation_pressure/further/tube", 60.0, 5)
    saturation_pa += s.limit(f"GEN-01/{VISIT}/{AT}/saturation_pressure/resolution 10", 5.0)
    saturation_pa += s.limit("GEN-01/pressure_drop", 50.0)
    share = 25.0 / 60.0
    bath = s.u(f"{place}/common/bath", 0.01)
    saturation_c = 25.0 - (0.010 + 0.012 * share) + bath + s.limit("GEN-01/saturator_gradient", 0.03)
    saturation_c += (1.0 - share) * s.expanded(f"{place}/saturation_temperature/calibration/point 1", 0.03, 2.28)
    saturation_c += share * s.expanded(f"{place}/saturation_temperature/calibration/point 2", 0.05, 2.28)
    saturation_c += s.limit(f"GEN-01/{VISIT}/{AT}/saturation_temperature/resolution 0.01", 0.005)
    chamber_pa = 1e3 * float(reading["chamber_pressure [kPa gauge]"]) - 20.0 + room
    chamber_pa += s.u(f"{place}/chamber_pressure/calibration", 30.0)
    chamber_pa += s.limit(f"GEN-01/{VISIT}/{AT}/chamber_pressure/resolution 10", 5.0)
    chamber_c = 25.4 - 0.015 + bath + s.u(f"{place}/chamber_temperature/calibration", 0.015)
    chamber_c += s.limit(f"{SENSOR}/GEN-01/chamber_gradient", 0.04)
    chamber_c += s.expanded(f"GEN-01/{VISIT}/chamber_temperature/further/fan", 0.08, 2.37)
    chamber_c += s.limit(f"GEN-01/{VISIT}/{AT}/chamber_temperature/resolution 0.01", 0.005)
    efficiency = 0.999 + s.limit("GEN-01/efficiency", 0.001)
    rh = through(
        lambda pa, c, to_pa, to_c, reached: carried(c, pa, to_c, to_pa, share=reached),
        saturation_pa, saturation_c, chamber_pa, chamber_c, efficiency,
    )  # fmt: skip
    at = float(rh.x)
    rh += s.u(f"GEN-01/{VISIT}/{AT}/humidity/further/valve", 0.12, 4)
    rh += at * s.u("GEN-01/humidity/further/cycle", 0.001 / math.sqrt(2.0))
    rh += at * float(saturation_pa.x - chamber_pa.x) * s.limit("formula/enhancement_factor", ENHANCEMENT_PER_PA)
    error = s.shown(outputs, PLATEAU) - rh + heated(s, at, 25.385)
    agree(differences(lab, 50.0, error, s))


def mirror(**keys: object) -> b.Files:
    """A mirror calibrated at two temperatures, each by few readings."""
    temperatures = b.quantity(
        b.calibration(
            b.point("-40 degC", "0.02 degC", "0.06 degC", 2.43),
            b.point("60 degC", "-0.03 degC", "0.09 degC", 2.43),
            correlation="independent",
            drift="0.05 degC/year",
        ),
        resolution="0.01 degC",
    )
    further = [
        {
            "name": "warmth",
            "label": "cable in a warm room",
            "of": "mirror_temperature",
            "lasts": "visit",
            "per": "degC",
            "calibration_temperature": "20 degC",
            "u": "0.004 degC",
            "nu": "6",
            "correction": "-0.005 degC",
        },
        {
            "name": "lines",
            "label": "water from the tubes",
            "of": "humidity",
            "lasts": "longer",
            "limit": "0.1 %RH",
            "distribution": "triangular",
        },
    ]
    return b.chilled_mirror(
        quantities={
            "mirror_temperature": temperatures,
            "chamber_temperature": b.flat(-40, 60, "degC", 0.05, resolution="0.01 degC"),
            "chamber_pressure": b.flat(50, 150, "kPa", 0.1, resolution="0.01 kPa"),
            "mirror_pressure": b.flat(50, 150, "kPa", 0.1, resolution="0.01 kPa"),
        },
        chamber_gradient="0.05 degC",
        further=further,
        **keys,
    )


def by_gtc(mirror_c: float, outputs: list[float], own_pa: float | None) -> tuple[Number, Scalar]:
    """The error that a mirror finds at 23 °C in a room of 26 °C; without a pressure of its own that of the chamber."""
    s, place = Scalar(), f"MIR-01/{SENT}"

    def pressure(name: str, pascals: float) -> Number:
        calibration = s.u(f"{place}/{name}/calibration", 50.0)
        return pascals + calibration + s.limit(f"MIR-01/{VISIT}/{AT}/{name}/resolution 10", 5.0)

    share = (mirror_c + 40.0) / 100.0
    at_mirror = mirror_c - (0.02 - 0.05 * share) - 0.005 * 6.0
    at_mirror += (1.0 - share) * s.expanded(f"{place}/mirror_temperature/calibration/point 1", 0.06, 2.43)
    at_mirror += share * s.expanded(f"{place}/mirror_temperature/calibration/point 2", 0.09, 2.43)
    at_mirror += YEARS * s.limit(f"{place}/mirror_temperature/drift", 0.05)
    at_mirror += 6.0 * s.u(f"MIR-01/{VISIT}/mirror_temperature/further/warmth", 0.004, 6)
    at_mirror += s.limit(f"MIR-01/{VISIT}/{AT}/mirror_temperature/resolution 0.01", 0.005)
    air_c = 23.0 + s.u(f"{place}/chamber_temperature/calibration", 0.025)
    air_c += s.limit(f"{SENSOR}/MIR-01/chamber_gradient", 0.05)
    air_c += s.limit(f"MIR-01/{VISIT}/{AT}/chamber_temperature/resolution 0.01", 0.005)
    air_pa = pressure("chamber_pressure", b.ROOM_PA)
    if own_pa is None:
        mirror_pa = air_pa + s.limit("MIR-01/mirror_pressure_difference", 300.0)
    else:
        mirror_pa = pressure("mirror_pressure", own_pa)
    rh = through(lambda c, pa, to_c, to_pa: carried(c, pa, to_c, to_pa), at_mirror, mirror_pa, air_c, air_pa)
    at = float(rh.x)
    rh += s.u("MIR-01/humidity/further/lines", 0.1 / math.sqrt(6.0))
    if mirror_c < 0.0:
        rh += at * s.limit("formula/saturation_pressure/ice", ICE_RELATIVE)
        rh -= at * s.limit("formula/saturation_pressure/water", WATER_RELATIVE)
    if own_pa is not None:
        rh += at * (own_pa - b.ROOM_PA) * s.limit("formula/enhancement_factor", ENHANCEMENT_PER_PA)
    return s.shown(outputs, PLATEAU) - rh + heated(s, at, 23.0), s


def test_a_budget_of_dew_on_a_mirror_agrees_with_gtc():
    """The mirror's pressure is the chamber's, up to a declared difference."""
    outputs = [44.4, 44.1, 44.25]
    reading = b.mirrored(10.0, 23.0, "dew")
    lab = lab_of(mirror(mirror_pressure_difference="0.3 kPa"), 44.0, outputs, reading, room_temperature=26.0)
    error, scalar = by_gtc(10.0, outputs, None)
    agree(differences(lab, 44.0, error, scalar))


def test_a_budget_of_frost_on_a_mirror_agrees_with_gtc():
    """The mirror has a pressure of its own, 2 kPa below the chamber's."""
    outputs = [8.05, 7.95, 7.90]
    reading = b.mirrored(-12.0, 23.0, "frost", mirror_pa=99_325.0)
    lab = lab_of(mirror(), 8.0, outputs, reading, room_temperature=26.0)
    error, scalar = by_gtc(-12.0, outputs, 99_325.0)
    agree(differences(lab, 8.0, error, scalar))


def test_a_budget_over_a_saturated_salt_agrees_with_gtc():
    """The salt by the printed table itself: that of Mg(NO3)2 is straight, and leans on its temperature."""
    further = [
        {"name": "lamp", "label": "lamp", "of": "chamber_temperature", "lasts": "visit", "u": "0.08 degC", "nu": "5"},
        {
            "name": "seal",
            "label": "seal of the cell",
            "of": "humidity",
            "lasts": "visit",
            "u": "0.1 %RH",
            "nu": "3",
            "correction": "-0.2 %RH",
        },
    ]
    salts = b.saturated_salt(salts=["Mg(NO3)2"], chamber_gradient="0.1 degC", salt_condition="0.2 %RH", further=further)
    outputs = [53.9, 53.6, 53.8]
    lab = lab_of(salts, 54.0, outputs, b.over_salt("Mg(NO3)2", 22.0))

    s, place = Scalar(), f"SALT-01/{SENT}"
    rows = [row for row in table("saturated_salts") if row["salt"] == "Mg(NO3)2" and "Greenspan" in row["source"]]
    printed = {float(row["t_C"]): row for row in rows}
    at_20, at_25 = (float(printed[c]["expected"]) for c in (20.0, 25.0))
    stated = [float(printed[c]["stated_uncertainty"]) for c in (20.0, 25.0)]
    solution_c = 22.0 + s.u(f"{place}/chamber_temperature/calibration", 0.05)
    solution_c += s.limit(f"SALT-01/{VISIT}/{AT}/chamber_temperature/resolution 0.001", 0.0005)
    solution_c += s.u(f"SALT-01/{VISIT}/chamber_temperature/further/lamp", 0.08, 5)
    warmer = s.limit(f"{SENSOR}/SALT-01/chamber_gradient", 0.1)

    def at_probe(celsius: float, difference: float) -> float:
        over_solution = at_20 + (at_25 - at_20) * (celsius - 20.0) / 5.0
        return over_solution * vapour_pressure(celsius) / vapour_pressure(celsius + difference)

    rh = through(at_probe, solution_c, warmer)
    rh += (0.6 * stated[0] + 0.4 * stated[1]) * s.limit("salt/Mg(NO3)2/published", 1.0)
    rh += s.limit(f"{VISIT}/SALT-01/Mg(NO3)2/condition", 0.2)
    rh += s.u(f"SALT-01/{VISIT}/humidity/further/seal", 0.1, 3) - 0.2
    error = s.shown(outputs, PLATEAU) - rh + heated(s, float(rh.x), 22.0)
    agree(differences(lab, 54.0, error, s))


def test_a_budget_of_a_transfer_probe_in_air_agrees_with_gtc():
    """What its laboratory's calibrations share stands in a column of its own; both temperatures matter."""
    humidity = b.quantity(
        b.calibration(
            b.point("10 %RH", "0.10 %RH", "0.5 %RH", 2.28),
            b.point("50 %RH", "0.30 %RH", "0.6 %RH", 2.28),
            correlation="independent",
            drift="0.5 %RH/year",
            shared=[{"name": "birch-standard", "u": "0.15 %RH"}],
        ),
        resolution="0.01 %RH",
    )
    probe = b.transfer_probe(
        quantities={
            "reference_humidity": humidity,
            "reference_temperature": b.flat(0, 60, "degC", 0.1, resolution="0.01 degC"),
            "air_temperature": b.flat(0, 60, "degC", 0.06, resolution="0.01 degC"),
        },
        hysteresis="0.4 %RH",
        temperature_coefficient="0.02 %RH/degC",
        calibration_temperature="24 degC",
        chamber_gradient="0.05 degC",
        instability="0.2 %RH",
        vapour_gradient="0.1 %RH",
        further=[
            {
                "name": "filter",
                "label": "filter",
                "of": "reference_humidity",
                "lasts": "visit",
                "u": "0.2 %RH",
                "nu": "3",
                "correction": "0.3 %RH",
            },
            {"name": "sun", "label": "sun", "of": "air_temperature", "lasts": "plateau", "limit": "0.1 degC"},
        ],
    )
    outputs = [35.4, 35.1, 35.2]
    lab = lab_of(probe, 35.0, outputs, b.by_probe(38.0, 22.0, 23.5))

    s, place = Scalar(), f"PROBE-01/{SENT}"
    weight = (38.0 - 10.0) / 40.0
    shown = 38.0 - (0.10 + 0.20 * weight) + 0.3 + 0.15 * s.u("shared/birch-standard", 1.0)
    for point, share, U in ((1, 1.0 - weight, 0.5), (2, weight, 0.6)):
        u = math.sqrt((U / 2.28) ** 2 - 0.15**2)
        shown += share * s.expanded(f"{place}/reference_humidity/calibration/point {point}", 2.28 * u, 2.28)
    shown += YEARS * s.limit(f"{place}/reference_humidity/drift", 0.5)
    shown += s.limit(f"PROBE-01/{VISIT}/{AT}/reference_humidity/resolution 0.01", 0.005)
    shown += s.u(f"PROBE-01/{VISIT}/reference_humidity/further/filter", 0.2, 3)
    probe_c = 22.0 + s.u(f"{place}/reference_temperature/calibration", 0.05)
    probe_c += s.limit(f"PROBE-01/{VISIT}/{AT}/reference_temperature/resolution 0.01", 0.005)
    air_c = 23.5 + s.u(f"{place}/air_temperature/calibration", 0.03)
    air_c += s.limit(f"PROBE-01/{VISIT}/{AT}/air_temperature/resolution 0.01", 0.005)
    air_c += s.limit(f"{SENSOR}/PROBE-01/chamber_gradient", 0.05)
    air_c += s.limit(f"PROBE-01/{VISIT}/{AT}/air_temperature/further/sun", 0.1)
    room = b.ROOM_PA + s.u(f"BAR-01/{SENT}/ambient_pressure/calibration", 25.0)
    room += s.limit(f"BAR-01/{VISIT}/{AT}/ambient_pressure/resolution 0.5", 0.25)
    rh = through(moved, shown, probe_c, air_c, room)
    at = float(rh.x)
    rh += s.limit(f"{SENSOR}/PROBE-01/hysteresis", 0.2)
    rh += (22.0 - 24.0) * s.limit("PROBE-01/temperature_coefficient", 0.02)
    rh += s.limit(f"{SENSOR}/PROBE-01/instability", 0.2) + s.limit(f"{SENSOR}/PROBE-01/vapour_gradient", 0.1)
    error = s.shown(outputs, PLATEAU) - rh + heated(s, at, 23.5)
    agree(differences(lab, 35.0, error, s))
