"""The worked examples of the GUM, its supplement and EA-4/02, recomputed with the program's own budgets.

Each function takes the program (see tests/program.py) and yields what was computed beside what was printed; the
printed values with their sources stand in tests/published/gum_examples.csv and student_t.csv.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from scipy.special import stdtrit

from tests.humidity.published_checks import Check, table
from tests.program import Program

Array = np.ndarray

H2_VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
H2_AMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
H2_RADIAN = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
"""JCGM 100:2008, Table H.2."""

H3_CELSIUS = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
H3_CORRECTION = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
"""JCGM 100:2008, Table H.6."""

H1_INPUTS: dict[str, tuple[float, float, float]] = {
    "l_s": (50_000_623.0, 25.0, 18),
    "d": (215.0, 5.8, 24),
    "d1": (0.0, 3.9, 5),
    "d2": (0.0, 6.7, 8),
    "alpha_s": (11.5e-6, 2e-6 / math.sqrt(3.0), math.inf),
    "theta": (-0.1, math.hypot(0.2, 0.5 / math.sqrt(2.0)), math.inf),
    "delta_alpha": (0.0, 1e-6 / math.sqrt(3.0), 50),
    "delta_theta": (0.0, 0.05 / math.sqrt(3.0), 2),
}
"""JCGM 100:2008, H.1.3: estimate, standard uncertainty, degrees of freedom; nm and K."""


def h1_length(l_s: Any, d: Any, d1: Any, d2: Any, alpha: Any, theta: Any, d_alpha: Any, d_theta: Any) -> Any:
    """Length of the end gauge in nm (JCGM 100:2008, eq. H.3)."""
    return l_s + d + d1 + d2 - l_s * (d_alpha * theta + alpha * d_theta)


def budget(program: Program, model: Any, inputs: dict[str, tuple[float, float, float]]) -> tuple[float, Any]:
    """The model's value, and its budget with one source for each input (estimate, u, ν)."""
    values, gradient = program.duals.differentiate(model, *(np.array([x[0]]) for x in inputs.values()))
    catalogue = program.sources.Catalogue()
    for name, (_, u, nu) in inputs.items():
        catalogue.add(program.sources.Source(identity=name, label=name, u=u, unit="", nu=nu))
    terms = program.terms.Terms(np.zeros(len(inputs), np.int64), np.arange(len(inputs)), gradient[:, 0])
    return float(values[0]), program.budgets.make_budgets(catalogue, terms, 1)


def rows_over_columns(program: Program, rows: Sequence[Array]) -> Any:
    """Budgets of rows that are linear in the same columns, each column a source of u = 1."""
    catalogue = program.sources.Catalogue()
    columns = len(rows[0])
    for number in range(columns):
        catalogue.add(program.sources.Source(identity=f"set {number}", label="", u=1.0, unit=""))
    at = np.repeat(np.arange(len(rows)), columns)
    terms = program.terms.Terms(at, np.tile(np.arange(columns), len(rows)), np.concatenate(rows))
    return program.budgets.make_budgets(catalogue, terms, len(rows))


def _checks(prefix: str, computed: dict[str, float]) -> Iterator[Check]:
    """Each printed value whose id stands in `computed`."""
    rows = {row["id"]: row for row in table("gum_examples")}
    for name, value in computed.items():
        row = rows[f"{prefix}{name}"]
        yield Check(
            id=f"{row['id']} {row['quantity']}",
            source=row["source"],
            computed=value,
            expected=float(row["expected"]),
            tolerance=float(row["tolerance"]) or 1e-12,
        )


def gum_h1(program: Program) -> Iterator[Check]:
    """End gauge: Welch–Satterthwaite and a budget whose linear terms leave two inputs out."""
    length, found = budget(program, h1_length, H1_INPUTS)
    size = {line.source.identity: abs(line.contribution) for line in found.lines(0)}
    u, nu = float(found.u[0]), float(found.nu[0])
    d_alpha, theta = H1_INPUTS["delta_alpha"][1], H1_INPUTS["theta"][1]
    second_order = H1_INPUTS["l_s"][0] * math.hypot(
        d_alpha * theta, H1_INPUTS["alpha_s"][1] * H1_INPUTS["delta_theta"][1]
    )
    yield from _checks(
        "GUM",
        {
            "001": length * 1e-6,
            "002": u,
            "003": math.floor(nu),
            "004": float(stdtrit(math.floor(nu), 0.995)) * u,
            "005": math.hypot(u, second_order),
            "010": size["l_s"],
            "011": size["d"],
            "012": size["d1"],
            "013": size["d2"],
            "014": size["delta_alpha"],
            "015": size["delta_theta"],
            "016": math.sqrt(size["d"] ** 2 + size["d1"] ** 2 + size["d2"] ** 2),
        },
    )
    yield Check(id="H.1 ν", source="GTC 1.5.1, GUM_H1.py", computed=nu, expected=16.752, tolerance=5e-4)


def gum_h2(program: Program) -> Iterator[Check]:
    """Resistance and reactance: correlated inputs as rows over one set of columns."""
    n = len(H2_VOLT)
    means = [float(np.mean(x)) for x in (H2_VOLT, H2_AMPERE, H2_RADIAN)]
    deviations = [(x - np.mean(x)) / math.sqrt(n * (n - 1)) for x in (H2_VOLT, H2_AMPERE, H2_RADIAN)]

    def impedance(function: Any) -> tuple[float, Array]:
        value, gradient = program.duals.differentiate(function, *(np.array([m]) for m in means))
        return float(value[0]), gradient[:, 0] @ np.array(deviations)

    cosine, sine = _cosine(program), _sine(program)
    ohms = [
        impedance(lambda v, i, phi: v / i * cosine(phi)),
        impedance(lambda v, i, phi: v / i * sine(phi)),
        impedance(lambda v, i, phi: v / i),
    ]
    found = rows_over_columns(program, [*deviations, *(row for _, row in ohms)])
    covariance = program.covariance.covariance(found, range(6))
    s = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(s, s)
    yield from _checks(
        "GUM0",
        {
            **{f"{20 + i}": mean for i, mean in enumerate(means)},
            **{f"{23 + i}": float(found.u[i]) for i in range(3)},
            "26": r[0, 1],
            "27": r[0, 2],
            "28": r[1, 2],
            **{f"{29 + i}": value for i, (value, _) in enumerate(ohms)},
            **{f"{32 + i}": s[3 + i] for i in range(3)},
            "35": r[3, 4],
            "36": r[3, 5],
            "37": r[4, 5],
        },
    )


def _cosine(program: Program) -> Any:
    """Cos and sin of a Dual; the humidity functions need neither."""
    return lambda x: program.duals.Dual(np.cos(x.real), -np.sin(x.real) * x.gradient)


def _sine(program: Program) -> Any:
    return lambda x: program.duals.Dual(np.sin(x.real), np.cos(x.real) * x.gradient)


def gum_h3(program: Program) -> Iterator[Check]:
    """A thermometer's calibration line: the covariance of intercept and slope counts."""
    least_squares = program.least_squares.generalised_least_squares
    n = len(H3_CELSIUS)
    design = np.column_stack([np.ones(n), H3_CELSIUS - 20.0])
    line, _ = least_squares(design, H3_CORRECTION, np.eye(n))
    residual = H3_CORRECTION - design @ line
    s = math.sqrt(float(residual @ residual) / (n - 2))
    line, spread = least_squares(design, H3_CORRECTION, s**2 * np.eye(n))
    root = np.linalg.cholesky(spread)
    found = rows_over_columns(program, list(root))
    at_30 = program.covariance.expanded_of_combination(found, (0, 1), (1.0, 10.0))
    yield from _checks(
        "GUM0",
        {
            "40": line[0],
            "41": float(found.u[0]),
            "42": line[1],
            "43": float(found.u[1]),
            "44": program.covariance.covariance(found, (0, 1))[0, 1] / float(found.u[0] * found.u[1]),
            "45": s,
            "46": line[0] + 10.0 * line[1],
            "47": at_30[0],
            **{f"{50 + k}": float((design @ line)[k]) for k in range(n)},
        },
    )
    for row in table("gum_examples"):
        if row["u_expected"]:
            celsius = float(row["quantity"].split(" at ")[1].split()[0])
            u, _, _ = program.covariance.expanded_of_combination(found, (0, 1), (1.0, celsius - 20.0))
            value = float(line[0] + line[1] * (celsius - 20.0))
            for name, computed, column in (("b", value, "expected"), ("u", u, "u_expected")):
                expected = float(row[column])
                yield Check(
                    id=f"{row['id']} {name}", source=row["source"], computed=computed, expected=expected, tolerance=1e-6
                )
    shared = least_squares(design, H3_CORRECTION, s**2 * np.eye(n) + 0.005**2)[1]
    yield from _checks("GUM0", {"66": math.sqrt(shared[0, 0])})


def student_t(program: Program) -> Iterator[Check]:
    """Coverage factors for 95.45 %, and back from a certificate's k to its degrees of freedom."""
    for row in table("student_t"):
        if row["coverage_percent"] != "95.45":
            continue
        nu, printed = float(row["nu"]), float(row["expected"])
        k = float(program.sources.coverage_factor(nu))
        yield Check(id=row["id"], source=row["source"], computed=k, expected=printed, tolerance=float(row["tolerance"]))
        if nu <= 100:
            yield Check(
                id=f"{row['id']} back",
                source=row["source"],
                computed=program.sources.freedom_from_k(k),
                expected=nu,
                tolerance=1e-6 * nu,
            )


def welch_satterthwaite(program: Program) -> Iterator[Check]:
    """G.4.1: y = b·x1·x2·x3, relative uncertainties of means of 10, 5 and 15 observations."""
    inputs = {"x1": (1.0, 0.25, 9), "x2": (1.0, 0.57, 4), "x3": (1.0, 0.82, 14)}
    _, found = budget(program, lambda a, b, c: a * b * c, inputs)
    yield from _checks("GUM", {"300": float(found.nu[0])})


def variance_group(program: Program) -> Iterator[Check]:
    """Columns whose u is one estimate count once: two plateaus and one pooled s of ν = 12 beside a known source."""
    sources, catalogue = program.sources, program.sources.Catalogue()
    for name in ("a", "b"):
        catalogue.add(sources.Source(identity=name, label="", u=0.3, unit="", nu=12, group="pool"))
    catalogue.add(sources.Source(identity="c", label="", u=0.4, unit=""))
    terms = program.terms.Terms(np.zeros(3, np.int64), np.arange(3), np.array([1.0, -1.0, 1.0]))
    found = program.budgets.make_budgets(catalogue, terms, 1)
    together = 2 * 0.3**2
    variance = together + 0.4**2
    source = "JCGM 100:2008, eq. G.2b, with the summed variance of one estimate"
    yield Check(
        id="ν", source=source, computed=float(found.nu[0]), expected=variance**2 / (together**2 / 12), tolerance=1e-9
    )
    yield Check(id="u", source=source, computed=float(found.u[0]), expected=math.sqrt(variance), tolerance=1e-12)
    nu = program.sources.coverage_factor(found.nu[0])
    yield Check(
        id="U", source=source, computed=float(found.U[0]), expected=float(nu) * math.sqrt(variance), tolerance=1e-12
    )


def ea_4_02(program: Program) -> Iterator[Check]:
    """A 10 kg weight and a 10 kΩ resistor."""
    inf = math.inf
    mass = {
        "m_S": (10_000_005.0, 22.5, inf),
        "dm_D": (0.0, 8.95, inf),
        "dm": (20.0, 14.4, inf),
        "dm_C": (0.0, 5.77, inf),
        "dB": (0.0, 5.77, inf),
    }
    value, found = budget(program, lambda *x: x[0] + x[1] + x[2] + x[3] + x[4], mass)
    ohm = {
        "R_S": (10_000.053, 2.5e-3, inf),
        "dR_D": (0.020, 5.8e-3, inf),
        "dR_TS": (0.0, 1.6e-3, inf),
        "r_C": (1.0, 0.41e-6, inf),
        "r": (1.000_010_5, 0.07e-6, inf),
        "dR_TX": (0.0, 3.2e-3, inf),
    }
    resistance, of_resistance = budget(program, lambda s, d, ts, rc, r, tx: (s + d + ts) * rc * r - tx, ohm)
    yield from _checks(
        "EA400",
        {
            "1": value * 1e-3,
            "2": float(found.u[0]),
            "3": float(found.U[0]),
            "4": resistance,
            "5": 1e3 * float(of_resistance.u[0]),
            "6": 1e3 * float(of_resistance.U[0]),
        },
    )


def additive_model(program: Program, trials: int = 400_000) -> Iterator[Check]:
    """JCGM 101:2008, 9.2: the sum of four quantities, normal, rectangular, and one of them ten times wider."""
    rng = np.random.default_rng(2)
    for ids, kind, last in (
        (("001", "002"), "normal", 1.0),
        (("004", "005"), "rectangular", 1.0),
        (("007", "008"), "rectangular", 10.0),
    ):
        drawn = [
            program.monte_carlo.draw(
                program.sources.Source(
                    identity="x", label="", u=u, unit="", distribution=program.sources.Distribution(kind)
                ),
                rng,
                trials,
            )
            for u in (1.0, 1.0, 1.0, last)
        ]
        total = program.monte_carlo.propagate(lambda *x: sum(x), drawn)
        low, high = program.monte_carlo.shortest_interval(total, 0.95)
        yield from _checks("JCM", {ids[0]: float(np.std(total)), ids[1]: (high - low) / 2.0})
        symmetric = program.monte_carlo.coverage_interval(total, 0.95)
        yield from _checks("JCM", {ids[1]: (symmetric[1] - symmetric[0]) / 2.0})


def mass_calibration(program: Program, trials: int = 400_000) -> Iterator[Check]:
    """JCGM 101:2008, 9.3: first order gives 0.0539 mg, the distributions give 0.0754 mg."""
    rectangle = math.sqrt(3.0)
    inputs = {
        "m_R": (100_000.000, 0.050, math.inf),
        "dm_R": (1.234, 0.020, math.inf),
        "rho_a": (1.20, 0.10 / rectangle, math.inf),
        "rho_W": (8000.0, 1000.0 / rectangle, math.inf),
        "rho_R": (8000.0, 50.0 / rectangle, math.inf),
    }

    def difference(m_r: Any, dm_r: Any, rho_a: Any, rho_w: Any, rho_r: Any) -> Any:
        return (m_r + dm_r) * (1.0 + (rho_a - 1.2) * (1.0 / rho_w - 1.0 / rho_r)) - 100_000.0

    estimate, found = budget(program, difference, inputs)
    u = float(found.u[0])
    rng = np.random.default_rng(3)
    kinds = ("normal", "normal", "rectangular", "rectangular", "rectangular")
    drawn = [
        value
        + program.monte_carlo.draw(
            program.sources.Source(
                identity=name, label="", u=size, unit="", distribution=program.sources.Distribution(kind)
            ),
            rng,
            trials,
        )
        for kind, (name, (value, size, _)) in zip(kinds, inputs.items(), strict=True)
    ]
    masses = program.monte_carlo.propagate(difference, drawn)
    low, high = program.monte_carlo.shortest_interval(masses, 0.95)
    yield from _checks(
        "JCM0",
        {
            "20": estimate,
            "21": float(np.std(masses)),
            "22": u,
            "24": low,
            "25": high,
            "26": estimate - 1.959964 * u,
            "27": estimate + 1.959964 * u,
        },
    )


def comparison_loss(program: Program, trials: int = 400_000) -> Iterator[Check]:
    """JCGM 101:2008, 9.4: x1² + x2² near zero, where no linear answer serves."""
    rows = [row for row in table("gum_examples") if "comparison loss" in row["quantity"]]
    rng = np.random.default_rng(4)
    for x1 in (0.0, 0.010, 0.050):
        estimate, found = budget(
            program, lambda a, b: a * a + b * b, {"x1": (x1, 0.005, math.inf), "x2": (0.0, 0.005, math.inf)}
        )
        source = program.sources.Source(identity="x", label="", u=0.005, unit="")
        losses = program.monte_carlo.propagate(
            lambda a, b: a**2 + b**2,
            [x1 + program.monte_carlo.draw(source, rng, trials), program.monte_carlo.draw(source, rng, trials)],
        )
        low, high = program.monte_carlo.shortest_interval(losses, 0.95)
        computed = {
            "GUF1 estimate": estimate,
            "GUF1 u": float(found.u[0]),
            "MCM estimate": float(np.mean(losses)),
            "MCM u": float(np.std(losses)),
            "MCM shortest 95 % low": low,
            "MCM shortest 95 % high": high,
        }
        for row in rows:
            if f"x1 = {x1:.3f}" in row["quantity"]:
                yield from _checks("", {row["id"]: computed[row["quantity"].split(": ")[1]]})


def gauge_block(program: Program, trials: int = 400_000) -> Iterator[Check]:
    """JCGM 101:2008, 9.5: scaled t, arc sine and trapezoids with inexact limits, through the full model."""
    rng = np.random.default_rng(5)

    def drawn(u: float, nu: float = math.inf) -> Array:
        source = program.sources.Source(identity="x", label="", u=u, unit="", nu=nu)
        return np.asarray(program.monte_carlo.draw(source, rng, trials))

    def curved_trapezoid(half_width: float, inexact: float) -> Array:
        """Rectangular within limits that are themselves rectangular (6.4.3)."""
        half = half_width + rng.uniform(-inexact, inexact, trials)
        return np.asarray(half * rng.uniform(-1.0, 1.0, trials))

    alpha = program.sources.rectangular("alpha", "", 2e-6, "1/K")
    inputs = [
        50_000_623.0 + drawn(25.0, 18),
        215.0 + drawn(6.0, 24),
        drawn(4.0, 5),
        drawn(7.0, 8),
        11.5e-6 + program.monte_carlo.draw(alpha, rng, trials),
        -0.1 + drawn(0.2) + 0.5 * np.sin(2.0 * math.pi * rng.random(trials)),
        curved_trapezoid(1e-6, 0.1e-6),
        curved_trapezoid(0.05, 0.025),
    ]

    def length(l_s: Any, d: Any, d1: Any, d2: Any, a: Any, theta: Any, d_a: Any, d_theta: Any) -> Any:
        return (l_s * (1.0 + a * (theta - d_theta)) + d + d1 + d2) / (1.0 + (a + d_a) * theta) - 50_000_000.0

    lengths = program.monte_carlo.propagate(length, inputs)
    low, high = program.monte_carlo.shortest_interval(lengths, 0.99)
    computed = {
        "MCM estimate": float(np.mean(lengths)),
        "MCM u": float(np.std(lengths)),
        "MCM shortest 99 % low": low,
        "MCM shortest 99 % high": high,
    }
    for row in table("gum_examples"):
        name = row["quantity"].rpartition(": ")[2]
        if "gauge block" in row["quantity"] and name in computed:
            yield from _checks("", {row["id"]: computed[name]})


def rectangular_display(program: Program, trials: int = 400_000) -> Iterator[Check]:
    """A display's digit and little else: k at 95 % is 1.65 (EA-4/02 S9), at 95.45 % 0.9545·√3."""
    rng = np.random.default_rng(6)
    display = program.monte_carlo.draw(program.sources.rectangular("display", "", 0.5, "%RH"), rng, trials)
    low, high = program.monte_carlo.coverage_interval(display, 0.95)
    u = 0.5 / math.sqrt(3.0)
    yield from _checks("EA400", {"7": (high - low) / 2.0 / u})
    ends = [program.sources.rectangular("end", "", half, "mm") for half in (0.665, 0.335)]  # β = 0.33
    trapezoid = sum(program.monte_carlo.draw(end, rng, trials) for end in ends)
    low, high = program.monte_carlo.coverage_interval(trapezoid, 0.95)
    yield from _checks("EA400", {"8": (high - low) / 2.0 / math.hypot(ends[0].u, ends[1].u)})
    low, high = program.monte_carlo.coverage_interval(display)
    yield Check(
        id="k of a rectangle at 95.45 %",
        source="0.9545·√3, closed form",
        computed=(high - low) / 2.0 / u,
        expected=program.sources.COVERAGE * math.sqrt(3.0),
        tolerance=3e-3,
    )


ALL = (
    gum_h1,
    gum_h2,
    gum_h3,
    student_t,
    welch_satterthwaite,
    variance_group,
    ea_4_02,
    additive_model,
    mass_calibration,
    comparison_loss,
    gauge_block,
    rectangular_display,
)
