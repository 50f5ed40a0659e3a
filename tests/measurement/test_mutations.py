"""The checks are worth something: each slip of the pen makes the check fail that is there for it."""

from __future__ import annotations

import pytest

from tests.measurement import measurement_checks
from tests.program import as_it_is
from tests.slips import Slip, is_found
from tests.uncertainty import guide_checks

SLIPS: dict[str, tuple[Slip, str]] = {
    "Welch–Satterthwaite with the square for the fourth power": (
        Slip("budgets.effective_freedom", "u**4 / denominator", "u**2 / denominator"),
        "gum_h1",
    ),
    "degrees of freedom dropped": (
        Slip("budgets.effective_freedom", "variance**2 / nu,", "0.0 * variance,"),
        "welch_satterthwaite",
    ),
    "a pooled estimate counted as often as it is used": (
        Slip("budgets.effective_freedom", "catalogue.groups()[terms.source]", "terms.source"),
        "variance_group",
    ),
    "k = 2 whatever the degrees of freedom": (Slip("make_budgets", "k, k * u)", "k, 2.0 * u)"), "variance_group"),
    "contributions added without squares": (
        Slip("make_budgets", "np.sqrt(sums_by(terms.row, c_u**2, results))", "sums_by(terms.row, c_u, results)"),
        "gum_h2",
    ),
    "one tail of the t distribution for two": (
        Slip("coverage_factor", "upper = (1.0 + COVERAGE) / 2.0", "upper = COVERAGE"),
        "student_t",
    ),
    "95 % for 95.45 %": (Slip("COVERAGE", "COVERAGE = math.erf(math.sqrt(2.0))", "COVERAGE = 0.95"), "student_t"),
    "a certificate's k read as certain": (Slip("freedom_from_k", "if k <= 2.0:", "if k <= 3.0:"), "student_t"),
    "rectangular limits divided by 2": (
        Slip("RECTANGULAR_DIVISOR", "RECTANGULAR_DIVISOR = math.sqrt(3.0)", "RECTANGULAR_DIVISOR = 2.0"),
        "resolutions",
    ),
    "a covariance without its signs": (
        Slip("summed_contributions", "np.asarray(weights, float)[which]", "np.abs(weights)[which]"),
        "two_visits",
    ),
    "the derivative of a quotient with the wrong sign": (
        Slip("_divide", "(dx - quotient * dy) / y", "(dx + quotient * dy) / y"),
        "gum_h2",
    ),
    "the derivative of a product half": (Slip("_multiply", "dx * y + x * dy", "dx * y"), "sensitivities"),
    "a rectangle drawn as wide as its u": (
        Slip("draw", "source.u * DIVISORS.get(source.distribution, 0.0)", "source.u"),
        "additive_model",
    ),
    "a normal distribution where few degrees of freedom are known": (
        Slip("draw", "rng.standard_t(source.nu, trials)", "rng.standard_normal(trials) * 3.0"),
        "gauge_block",
    ),
    "the shortest interval not looked for": (
        Slip("shortest_interval", "int(np.argmin(widths))", "0"),
        "comparison_loss",
    ),
    "the calibration's error added": (
        Slip("Calibrations.applied", "value[at] -= error_value", "value[at] += error_value"),
        "reference_values",
    ),
    "an error taken for a correction": (
        Slip("Calibrations._errors", '1.0 if calibration.declared == "error" else -1.0', "1.0"),
        "certificate_signs",
    ),
    "U of the certificate taken for u": (
        Slip("Calibrations._table_terms", "p.U.value / calibration.k_of(p)", "p.U.value"),
        "correlations",
    ),
    "interpolation weights the wrong way round": (
        Slip(
            "Calibrations._errors",
            "values[left] * (1 - weight) + values[right] * weight",
            "values[left] * weight + values[right] * (1 - weight)",
        ),
        "reference_values",
    ),
    "independent points taken as one": (
        Slip("Calibrations._table_terms", 'correlation == "independent"', 'correlation == "apart"'),
        "correlations",
    ),
    "a span that forgets the point of the largest U": (
        Slip("Calibrations._table_terms", "span = reach * float(np.max(beyond))", "span = reach * float(beyond[-1])"),
        "correlations",
    ),
    "drift that does not grow": (
        Slip("Calibrations._errors", "self.catalogue.add(drift), years)", "self.catalogue.add(drift), 1.0)"),
        "drift_of_a_reference",
    ),
    "a common component that is nobody's": (
        Slip(
            "Calibrations._errors",
            'f"{reference.id}/{calibration.date}/common/{component.name}"',
            'f"{reference.id}/{calibration.date}/common/{component.name}/{quantity}"',
        ),
        "common_component",
    ),
    "resolution divided by √n": (
        Slip(
            "CellSources._resolutions", "half_width=step[cells] / 2.0,", "half_width=step[cells] / 2.0 / math.sqrt(9),"
        ),
        "resolutions",
    ),
    "a whole digit for half of one": (
        Slip("Calibrations._resolution", "Series.rectangular(digit[new] / 2.0", "Series.rectangular(digit[new]"),
        "resolutions",
    ),
    "the scatter of one reading for that of the mean": (
        Slip("CellSources._scatter", "float) / np.sqrt(n[at])", "float)"),
        "scatter_of_readings",
    ),
    "n for n − 1": (
        Slip(
            "scatter",
            "np.sqrt(np.bincount(c, de * de, cells) / (n - 1))",
            "np.sqrt(np.bincount(c, de * de, cells) / n)",
        ),
        "scatter_of_readings",
    ),
    "what is declared believed whatever the readings say": (
        Slip("repeatabilities", "or least[i] > largest)", "or least[i] > 1e9 * largest)"),
        "scatter_of_readings",
    ),
    "a pool that holds the day's own readings": (
        Slip("repeatabilities", "days[waiting[0]] < days[i]", "days[waiting[0]] <= days[i]"),
        "pooled_scatter",
    ),
    "a mean's terms not divided by n": (
        Slip("_Stage._part", "1.0 / np.maximum(spread.n, 1)[table.cell]", "np.ones(table.n)"),
        "sensitivities",
    ),
    "the reference subtracted from nothing": (
        Slip("_Stage._channel", "against = value.terms.scaled(minus)", "against = value.terms"),
        "sensitivities",
    ),
    "the loop meter counted at the far end": (
        Slip(
            "_Stage._channel",
            "Part.TOTAL: (far_end.value - value.value, against,",
            "Part.TOTAL: (far_end.value - value.value, Terms.joined([shown.sensor.terms, against]),",
        ),
        "loop",
    ),
    "the loop meter the same way in sensor and loop": (
        Slip("_Stage._channel", "shown.sensor.terms.scaled(minus),", "shown.sensor.terms,"),
        "loop",
    ),
    "a scaling without its zero": (
        Slip("indications._lines", "scaling.reads_low.value - slope * scaling.low.value", "scaling.reads_low.value"),
        "loop",
    ),
    "settling corrected backwards": (
        Slip(
            "CellSources.of",
            "correction[cells] = value\n            kinds += settling",
            "correction[cells] = -value\n            kinds += settling",
        ),
        "settling",
    ),
    "all that may be left of settling corrected": (
        Slip("share_left", "return half, half", "return 2.0 * half, half"),
        "settling",
    ),
    "half of what a nominal time constant leaves corrected": (
        Slip("share_left", "return mean, RECTANGULAR_DIVISOR", "return mean / 2.0, RECTANGULAR_DIVISOR"),
        "settling",
    ),
    "each plateau given a time constant of its own": (
        Slip("CellSources._settling", 'of_instrument="time_constant"', 'of_instrument=""'),
        "settling",
    ),
    "a warm probe taken for a cold one": (
        Slip("CellSources._to_probe_temperature", "np.full(len(self.cells), -1.0)", "np.full(len(self.cells), 1.0)"),
        "temperature_channel",
    ),
    "an efficiency above saturation": (
        Slip("two_pressure.evaluate_rows", "efficiency[at] = 1.0 - half", "efficiency[at] = 1.0 + half"),
        "one_sided_effects",
    ),
    "a lossy saturator corrected downwards": (
        Slip("two_pressure.evaluate_rows", "saturation_pa.value + lost", "saturation_pa.value - lost"),
        "one_sided_effects",
    ),
    "gauge for absolute": (
        Slip("ReferenceInputs.pressure", "np.where(gauge, ambient.value, 0.0)", "0.0 * ambient.value"),
        "reference_values",
    ),
    "the barometer in one of two gauge pressures": (
        Slip(
            "ReferenceInputs.pressure",
            "ambient.terms.scaled(gauge.astype(float))])",
            "ambient.terms.scaled(gauge * (quantity[0] == 's'))])",
        ),
        "one_barometer",
    ),
    "the mirror's pressure left out": (
        Slip("chilled_mirror._of_condensate", "np.where(own, mirror_pa.value, chamber_pa.value)", "chamber_pa.value"),
        "reference_values",
    ),
    "frost taken for dew": (
        Slip(
            "chilled_mirror._of_condensate",
            "rh_from_mirror(mirror, air, condensate,",
            'rh_from_mirror(mirror, air, "dew",',
        ),
        "reference_values",
    ),
    "a sensor over ice judged over water": (
        Slip(
            "_over_ice",
            "return model(*values) * water_to_ice_ratio(values[temperature], values[pressure])",
            "return model(*values)",
        ),
        "reference_values",
    ),
    "the formula at both states as if they were two": (
        Slip("formulation_terms", "rh = sign * humidity[at]", "rh = humidity[at]"),
        "formulations",
    ),
    "what a probe inherits, with the wrong sign": (
        Slip("_curve", ".moved(new_row, share)", ".moved(new_row, -share)"),
        "inherited",
    ),
    "a probe's curve applied backwards": (
        Slip(
            "Calibrations._errors",
            "points, values = curve.at, -curve.correction",
            "points, values = curve.at, curve.correction",
        ),
        "inherited",
    ),
}
CHECKS = {check.__name__: check for check in (*guide_checks.ALL, *measurement_checks.ALL)}


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_found(name):
    slip, check = SLIPS[name]
    assert is_found(slip, CHECKS[check], as_it_is())
