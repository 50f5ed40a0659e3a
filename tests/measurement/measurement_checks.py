"""What measuring a set of synthetic records must give: values by independent physics, budgets by hand.

Each function takes the program (see tests/program.py) and yields what was computed beside what it must be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from tests import builders as b
from tests.builders import Files, Row
from tests.humidity.published_checks import Check
from tests.measurement.lab import Lab, measured
from tests.measurement.methods import METHODS, at_work, worn_generator
from tests.program import Program

READINGS = (
    "saturation_pressure",
    "saturation_temperature",
    "chamber_pressure",
    "chamber_temperature",
    "mirror_temperature",
    "mirror_pressure",
    "reference_humidity",
    "reference_temperature",
    "air_temperature",
    "ambient_pressure",
)
RECTANGLE = math.sqrt(3.0)


def _check(id: str, computed: float, expected: float, tolerance: float = 1e-9, source: str = "by hand") -> Check:
    return Check(id=id, source=source, computed=computed, expected=expected, tolerance=tolerance)


def reference_values(program: Program) -> Iterator[Check]:
    """Every method's reference humidity against an independent model, all corrections applied."""
    for name, method in METHODS.items():
        line = measured(at_work(name), program).line(method.target)
        yield _check(name, line.reference_value, method.truth, method.tolerance, method.source)
        yield _check(f"{name}, error", line.error, method.target + 0.35 - method.truth, method.tolerance, method.source)


def sensitivities(program: Program) -> Iterator[Check]:
    """A reading's source acts on the error as the reading itself does: moved up and down, all is measured again."""
    for name, method in METHODS.items():
        lab = measured(at_work(name), program)
        for header, value in method.reading.items():
            quantity = header.partition(" ")[0]
            if quantity not in READINGS:
                continue
            step = 1e-4 * (abs(value) if "kPa" in header else 100.0)
            errors = [
                measured(at_work(name, reading=method.reading | {header: value + sign * step}), program)
                .line(method.target)
                .error
                for sign in (1.0, -1.0)
            ]
            slope = (errors[0] - errors[1]) / (2.0 * step) / (1e3 if "kPa" in header else 1.0)
            found = [x for x in lab.budget(method.target).values() if f"/{quantity}/resolution" in x.source.identity]
            # The certificate's own slope is left out of the budget: it changes a sensitivity by less than 1 %.
            computed = found[0].sensitivity if found else 0.0
            yield _check(f"{name}, {quantity}", computed, slope, 0.01 * abs(slope) + 1e-7, "central difference")


def certificate_signs(program: Program) -> Iterator[Check]:
    """An error is subtracted, a correction added: declared as either, a certificate says the same."""
    errors = []
    for declared, sign in (("error", 1.0), ("correction", -1.0)):
        moved = b.flat(-20, 60, "degC", 0.03, value=sign * 0.1, declared=declared)
        errors.append(_at_50(program, b.two_pressure(quantities={"chamber_temperature": moved})).line(50.0).error)
    plain = _at_50(program, b.two_pressure()).line(50.0).error
    yield _check("the same either way", errors[0], errors[1])
    # The air is 0.1 K colder than shown, so more humid by 0.6 %: the sensor shows less above it.
    yield _check("a thermometer that shows high", errors[0] - plain, -0.3, 0.005)


def correlations(program: Program) -> Iterator[Check]:
    """What a certificate says holds at each of its points, however they hang together; between them it differs."""
    points = [b.point(f"{at} %RH", "0 %RH", f"{U} %RH") for at, U in ((20, 0.4), (50, 1.0), (80, 0.6))]
    for correlation, halfway in (
        ("common", 0.35),
        ("independent", math.hypot(0.1, 0.25)),
        ("zero_span", math.hypot(0.2, 0.5 * math.sqrt(0.25 - 0.04))),
    ):
        record = b.quantity(b.calibration(*points, correlation=correlation), resolution="0.001 %RH")
        probe = b.transfer_probe(quantities={"reference_humidity": record})
        rows = [b.plateau(at, [at, at], b.by_probe(at)) for at in (20.0, 35.0, 50.0, 80.0)]
        lab = measured(b.records(b.sensor(), probe, b.visit("2026-03-16-lab", *rows)), program)

        def u_at(target: float, lab: Lab = lab) -> float:
            found = lab.budget(target).items()
            parts = [x.contribution for name, x in found if "/reference_humidity/calibration" in name]
            return math.sqrt(sum(part**2 for part in parts))

        yield _check(f"{correlation}, at 20", u_at(20.0), 0.2)
        yield _check(f"{correlation}, at 50", u_at(50.0), 0.5)
        if correlation == "zero_span":  # never less than the certificate says
            yield _check(f"{correlation}, at 80", min(u_at(80.0), 0.3), 0.3)
        else:
            yield _check(f"{correlation}, at 80", u_at(80.0), 0.3)
        yield _check(f"{correlation}, between 20 and 50", u_at(35.0), halfway)


def drift_of_a_reference(program: Program) -> Iterator[Check]:
    """A rate times the time since the calibration: one column, whose weight grows."""
    generator = b.two_pressure(quantities={"chamber_temperature": b.flat(-20, 60, "degC", 0.03, drift="0.1 degC/year")})
    visits = [
        b.visit(f"{day}-lab", b.plateau(50, [50.0, 50.0], b.generated(50))) for day in ("2026-03-16", "2027-01-12")
    ]
    lab = measured(b.records(b.sensor(), generator, *visits), program)
    for visit, days in (("2026-03-16-lab", 63), ("2027-01-12-lab", 365)):
        found = lab.source("chamber_temperature/drift", 50.0, visit=visit)
        slope = lab.source("chamber_temperature/calibration", 50.0, visit=visit).sensitivity
        yield _check(visit, found.contribution, slope * 0.1 / RECTANGLE * days / 365.25)
    yield _check("nothing on the day itself", _u_of_drift_on_the_day(program), 0.0)


def _u_of_drift_on_the_day(program: Program) -> float:
    generator = b.two_pressure(
        quantities={"chamber_temperature": b.flat(-20, 60, "degC", 0.03, drift="0.1 degC/year", on="2026-03-16")}
    )
    found = _at_50(program, generator).source("chamber_temperature/drift", 50.0)
    return 0.0 if found is None else float(found.contribution)


def resolutions(program: Program) -> Iterator[Check]:
    """Half a digit, rectangular, once a plateau: more readings do not make it smaller."""
    family = b.family(humidity={"resolution": "0.4 %RH", "repeatability": "0.05 %RH"})
    for n in (1, 9):
        lab = _at_50(program, b.two_pressure(), family, outputs=[50.2] * n)
        digit = lab.source("/output_resolution", 50.0)
        yield _check(f"display, n = {n}", digit.contribution, 0.2 / RECTANGLE)
        reference = [x for name, x in lab.budget(50.0).items() if "/chamber_temperature/resolution" in name]
        yield _check(f"thermometer, n = {n}", reference[0].source.u, 0.0003 / 2.0 / RECTANGLE)
        yield _check(f"thermometer's weight, n = {n}", abs(reference[0].sensitivity), 2.99, 0.01)


def scatter_of_readings(program: Program) -> Iterator[Check]:
    """The mean of n readings has s/√n; declared for the family, or the plateau's own with n − 1 degrees of freedom."""
    readings = [50.1, 50.3, 50.2, 50.6]
    lab = _at_50(program, b.two_pressure(), outputs=readings)
    yield _check("declared", lab.source("/repeatability", 50.0).contribution, 0.05 / math.sqrt(4))
    lab = _at_50(program, b.two_pressure(), b.family(humidity={"resolution": "0.01 %RH"}), outputs=readings)
    own = lab.source("/repeatability", 50.0)
    yield _check("its own", own.contribution, math.sqrt(0.14 / 3) / 2.0)
    yield _check("ν of its own", own.source.nu, 3)


def pooled_scatter(program: Program) -> Iterator[Check]:
    """Enough readings of the family's earlier days replace the declared value; the same day's never do."""
    policy = b.facility(policies={"rule": "guard_band", "least_pool": 4})
    days = ("2026-02-10", "2026-03-10", "2026-04-10")
    readings = ([50.0, 50.3, 50.6], [50.1, 50.1, 50.4], [50.0, 50.2, 50.4])
    visits = [
        b.visit(f"{day}-lab", b.plateau(50, shown, b.generated(50))) for day, shown in zip(days, readings, strict=True)
    ]
    visits.append(b.visit("2026-04-10-attic", b.plateau(50, [49.0, 50.0, 51.0], b.generated(50), sensor="RH-2")))
    lab = measured(b.records(policy, b.sensor(), b.sensor("RH-2"), b.two_pressure(), *visits), program)
    pooled = math.sqrt((2 * 0.09 + 2 * 0.03) / 4)
    for sensor, day, s, nu in (
        ("RH-1", "2026-02-10", 0.05, math.inf),
        ("RH-1", "2026-03-10", 0.05, math.inf),
        ("RH-1", "2026-04-10", pooled, 4),
        ("RH-2", "2026-04-10", pooled, 4),
    ):
        place = "attic" if sensor == "RH-2" else "lab"
        found = lab.source("/repeatability", 50.0, visit=f"{day}-{place}", sensor=sensor)
        yield _check(f"{sensor} on {day}", found.contribution, s / math.sqrt(3))
        yield _check(f"ν of {sensor} on {day}", 1.0 / found.source.nu, 1.0 / nu)


def common_component(program: Program) -> Iterator[Check]:
    """What two thermometers share nearly cancels: humidity depends on their difference."""
    lab = _at_50(program, worn_generator())
    bath = lab.source("common/bath", 50.0)
    alone = lab.source("chamber_temperature/calibration", 50.0)
    yield _check("0.01 K in common", bath.contribution, 0.0, 1e-3)
    yield _check("0.015 K alone", alone.contribution, 2.99 * 0.015, 1e-3)


def one_barometer(program: Program) -> Iterator[Check]:
    """A barometer error in both gauge pressures: dRH/dP = RH·(1/Pc − 1/Ps), not the root sum of the two."""
    generator = b.two_pressure()
    room = b.barometer(quantities={"ambient_pressure": b.flat(80, 110, "kPa", 0.2)})
    files = b.records(b.sensor(), generator, room)
    files |= b.visit("2026-03-16-lab", b.plateau(20, [20.0, 20.0], b.generated(20, gauge=True)))
    found = measured(files, program).source("ambient_pressure/calibration", 20.0)
    saturated_pa = b.ROOM_PA + 1e3 * b.generated(20, gauge=True)["saturation_pressure [kPa gauge]"]
    expected = -20.0 * (1.0 / b.ROOM_PA - 1.0 / saturated_pa) * 100.0
    yield _check("barometer", found.contribution, expected, 0.02 * abs(expected))


def one_sided_effects(program: Program) -> Iterator[Check]:
    """Efficiency between 99 and 100 %, up to 1 kPa lost: half of each is corrected, ± half is left."""
    plain = _at_50(program, b.two_pressure()).line(50.0).reference_value
    poor = _at_50(program, b.two_pressure(lowest_efficiency="99 %"))
    yield _check("less water than saturation", poor.line(50.0).reference_value, 0.995 * plain)
    yield _check("its u", abs(poor.source("/efficiency", 50.0).contribution), 50.0 * 0.005 / RECTANGLE, 1e-3)
    lossy = _at_50(program, b.two_pressure(pressure_drop="1 kPa"))
    saturated_pa = 1e3 * b.generated(50)["saturation_pressure [kPa absolute]"]
    share = saturated_pa / (saturated_pa + 500.0)
    yield _check("saturated at a higher pressure", lossy.line(50.0).reference_value, share * plain, 2e-3)
    u = 50.0 * 500.0 / saturated_pa / RECTANGLE
    yield _check("its u", abs(lossy.source("/pressure_drop", 50.0).contribution), u, 0.02 * u)


def settling(program: Program) -> Iterator[Check]:
    """τ = 10 min, 20 min at the point: 13.5 % of the step may be left. Half of it is corrected, upwards when rising."""
    family = b.family(time_constant="10 min")
    rows = [b.plateau(at, [at - 0.5, at - 0.5], b.generated(at), soak=20) for at in (20.0, 50.0, 30.0)]
    lab = measured(b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows)), program)
    plain = measured(b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows)), program)
    for target, step in ((20.0, 0.0), (50.0, 30.0), (30.0, -20.0)):
        left = step * math.exp(-2.0)
        yield _check(f"to {target:g}", lab.line(target).error - plain.line(target).error, left / 2.0)
        found = lab.source("/settling", target)
        yield _check(f"u to {target:g}", found.contribution if found else 0.0, abs(left) / 2.0 / RECTANGLE)


def loop(program: Program) -> Iterator[Check]:
    """4 to 20 mA for 0 to 100 %RH: the meter's error is scaled, and cancels in the error at the far end."""
    lab = measured(_with_loop([12.0, 12.0], far_end=[50.9, 51.1]), program)
    sensor, whole, between = (lab.line(50.0, part=part) for part in ("sensor", "total", "loop"))
    # The meter shows 0.02 mA too much: 12 mA are 11.98 mA, 49.875 %RH.
    yield _check("at the sensor", sensor.indication, 49.875)
    yield _check("at the far end", whole.error, 51.0 - 50.0, 1e-4)
    yield _check("of the loop", between.error, 51.0 - 49.875)
    for part, weight in (("sensor", 6.25), ("loop", -6.25), ("total", 0.0)):
        found = lab.source("current/calibration", 50.0, part=part)
        yield _check(f"meter, {part}", found.sensitivity if found else 0.0, weight)
    both = program.covariance.expanded_of_combination(
        lab.measurement.whole(), [lab.number(50.0, part=part) for part in ("sensor", "loop", "total")], (1.0, 1.0, -1.0)
    )[0]
    # What is left is the scatter and the display of each reading: reference, meter and probe are gone.
    own = [
        line.contribution**2
        for part in ("sensor", "loop", "total")
        for name, line in lab.budget(50.0, part=part).items()
        if name.endswith("/repeatability")
    ]
    yield _check("sensor + loop = far end", both, math.sqrt(sum(own)), 1e-6)


def _with_loop(outputs: list[float], **columns: object) -> Files:
    scaling = {"low": "4 mA", "high": "20 mA", "reads_low": "0 %RH", "reads_high": "100 %RH"}
    known = {"repeatability": "0.05 %RH", "far_end_resolution": "0.1 %RH"}
    family = b.family(signal="current", scaling=scaling, humidity=known)
    meter = b.loop_meter(quantities={"current": b.flat(0, 25, "mA", 0.01, value=0.02)})
    rows = b.plateau(50.0, outputs, b.generated(50), unit="mA", loop_meter="METER-01", **columns)
    return b.records(family, b.sensor(), b.two_pressure(), meter, b.visit("2026-03-16-lab", rows))


def two_visits(program: Program) -> Iterator[Check]:
    """One reference calibration cancels in the difference of two visits; a new calibration between them does not."""
    days = ("2026-03-16", "2026-06-16")
    for again, expected in ((False, True), (True, False)):
        lab = measured(_visits(days, recalibrated="2026-05-04" if again else None), program)
        first, second = (lab.number(50.0, visit=f"{day}-lab") for day in days)
        budgets = lab.measurement.whole()
        u, _, _ = program.covariance.expanded_of_combination(budgets, (first, second), (-1.0, 1.0))
        naive = math.hypot(float(budgets.u[first]), float(budgets.u[second]))
        own = math.sqrt(
            sum(
                line.contribution**2
                for number in (first, second)
                for line in budgets.lines(number)
                if line.source.identity.startswith(("2026", "GEN-01/2026-03-16-lab", "GEN-01/2026-06-16-lab"))
            )
        )
        shared = program.covariance.covariance(budgets, (first, second))[0, 1]
        name = "recalibrated between" if again else "one calibration"
        yield _check(name, u, math.sqrt(naive**2 - 2.0 * shared))
        yield _check(f"{name}: only what is the visits' own is left", float(abs(u - own) < 1e-3 * u), float(expected))
        yield _check(f"{name}: as if nothing were shared", float(u > 0.95 * naive), float(not expected))


def _visits(days: tuple[str, ...], recalibrated: str | None = None) -> Files:
    def twice(record: dict) -> dict:
        if recalibrated is None:
            return record
        first = record["calibrations"][0]
        second = first | {"date": recalibrated, "certificate": "C-2", "valid_until": "2028-01-01"}
        return record | {"calibrations": [first, second]}

    quantities = {
        "saturation_pressure": twice(b.flat(0, 1500, "kPa", 0.4)),
        "saturation_temperature": twice(b.flat(-20, 60, "degC", 0.1)),
        "chamber_pressure": twice(b.flat(0, 150, "kPa", 0.06)),
        "chamber_temperature": twice(b.flat(-20, 60, "degC", 0.1)),
    }
    family = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.02 %RH"})
    visits = [b.visit(f"{day}-lab", b.plateau(50, [50.2, 50.2], b.generated(50))) for day in days]
    return b.records(family, b.sensor(), b.two_pressure(quantities=quantities), *visits)


def hysteresis(program: Program) -> Iterator[Check]:
    """No source of the day: the error of a point is that of its approach, wherever it came from."""
    family = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "hysteresis": "1.2 %RH"})

    def found(targets: tuple[float, ...], direction: str) -> float:
        rows = [b.plateau(at, [at, at], b.generated(at)) for at in targets]
        lab = measured(b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows)), program)
        source = lab.source("/hysteresis", 50.0, direction=direction)
        return float(source.contribution) if source else 0.0

    yield _check("one way", found((20.0, 50.0, 80.0), "rising"), 0.0)
    yield _check("both ways", found((20.0, 50.0, 80.0, 50.0), "rising"), 0.0)
    yield _check("from the start", found((50.0, 80.0, 50.0), "start"), 0.0)


def formulations(program: Program) -> Iterator[Check]:
    """The formula of e cancels between two states over water; that of f counts by the difference of pressures."""
    lab = _at_50(program, b.two_pressure())
    yield _check("e", float(lab.source("saturation_pressure/water", 50.0) is not None), 0.0)
    saturated_pa = 1e3 * b.generated(50)["saturation_pressure [kPa absolute]"]
    f = lab.source("formula/enhancement_factor", 50.0).contribution
    yield _check("f", f, -50.0 * (saturated_pa - b.ROOM_PA) * 1e-9 / RECTANGLE, 1e-8)
    lab = measured(at_work("mirror, frost"), program)
    target = METHODS["mirror, frost"].target
    humidity = lab.line(target).reference_value
    ice, water = (lab.source(f"saturation_pressure/{phase}", target).contribution for phase in ("ice", "water"))
    yield _check("ice", ice, -humidity * 1e-3 / RECTANGLE)
    yield _check("water at the air's temperature", water, humidity * 1.2e-4 / RECTANGLE)


def inherited(program: Program) -> Iterator[Check]:
    """A probe calibrated here brings its result's own columns: the generator's error comes back through it."""
    calibrated = b.visit(
        "2026-02-02-probe",
        *(
            b.plateau(at, [at + 1.0, at + 1.0], b.generated(at), sensor="PROBE-01", phase="as_left")
            for at in (20.0, 50.0, 80.0)
        ),
    )
    probe = b.transfer_probe(
        quantities={"reference_humidity": b.quantity(b.by_visit("2026-02-02-probe"), resolution="0.01 %RH")}
    )
    used = b.visit(
        "2026-03-16-lab",
        b.plateau(50, [50.5, 50.5], b.by_probe(51.0)),
        b.plateau(35, [35.5, 35.5], b.by_probe(36.0)),
    )
    lab = measured(b.records(b.sensor(), b.two_pressure(), probe, calibrated, used), program)
    for target in (50.0, 35.0):
        yield _check(f"corrected by the visit, {target:g}", lab.line(target).reference_value, target, 1e-4)
    direct = lab.source("GEN-01/2026-01-12/chamber_temperature/calibration", 50.0, sensor="PROBE-01", phase="as_left")
    through = lab.source("GEN-01/2026-01-12/chamber_temperature/calibration", 50.0)
    # The probe shows 1 %RH too much against a generator whose error is δ: it passes −∂RH/∂T·δ on.
    yield _check("the generator's thermometer", through.contribution, direct.contribution, 1e-3)
    number = lab.number(50.0)
    at_calibration = lab.number(50.0, sensor="PROBE-01", phase="as_left")
    shared = program.covariance.covariance(lab.measurement.whole(), (number, at_calibration))[0, 1]
    yield _check("they lean on one generator", float(shared > 0.0), 1.0)


def temperature_channel(program: Program) -> Iterator[Check]:
    """Against the temperature at the probe: its thermometer, the gradient up to the probe, the probe's own heat."""
    family = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
        self_heating="0.06 degC",
    )
    generator = b.two_pressure(
        quantities={"chamber_temperature": b.flat(-20, 60, "degC", 0.03, value=0.1)}, chamber_gradient="0.09 degC"
    )
    rows = b.plateau(50, [50.0, 50.0], b.generated(50), output_temperature=[25.2, 25.3])
    lab = measured(b.records(family, b.sensor(), generator, b.visit("2026-03-16-lab", rows)), program)
    yield _check("error", lab.line(50.0, channel="temperature").error, 25.25 - 24.9)
    for ending, contribution in (
        ("chamber_temperature/calibration", -0.015),
        ("GEN-01/chamber_gradient", -0.09 / RECTANGLE),
        ("/self_heating", -0.06 / RECTANGLE),
        ("temperature/output_resolution", 0.005 / RECTANGLE),
        ("temperature/sensor/repeatability", 0.02 / math.sqrt(2)),
    ):
        yield _check(ending, lab.source(ending, 50.0, channel="temperature").contribution, contribution)
    # One probe, one heat: it makes humidity too low and temperature too high.
    heat = lab.source("/self_heating", 50.0).contribution
    yield _check("the same heat in the humidity", heat, 50.0 * 0.0596 * 0.06 / RECTANGLE, 0.01)
    cells = b.saturated_salt(chamber_gradient="0.1 degC")
    rows = b.plateau(75, [75.0, 75.0], b.over_salt("NaCl"), output_temperature=25.1)
    lab = measured(b.records(family, b.sensor(), cells, b.visit("2026-03-16-lab", rows)), program)
    apart = lab.source("SALT-01/chamber_gradient", 75.0, channel="temperature").contribution
    yield _check("probe against solution", apart, -0.1 / RECTANGLE)


def _at_50(program: Program, *parts: Files, outputs: list[float] | None = None, reading: Row | None = None) -> Lab:
    rows = b.plateau(50, outputs or [50.0, 50.0], reading or b.generated(50))
    return measured(b.records(b.sensor(), *parts, b.visit("2026-03-16-lab", rows)), program)


ALL = (
    reference_values,
    sensitivities,
    certificate_signs,
    correlations,
    drift_of_a_reference,
    resolutions,
    scatter_of_readings,
    pooled_scatter,
    common_component,
    one_barometer,
    one_sided_effects,
    settling,
    loop,
    two_visits,
    hysteresis,
    formulations,
    inherited,
    temperature_channel,
)
