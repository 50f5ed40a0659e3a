"""Water vapour at saturation: its pressure over water and ice, the enhancement factor, and their inverse.

Formulation: B. Hardy, "ITS-90 formulations for vapor pressure, frostpoint temperature, dewpoint temperature,
and enhancement factors in the range −100 to +100 °C", Third International Symposium on Humidity and Moisture,
National Physical Laboratory, 1998. Temperatures are ITS-90, pressures absolute. Equation numbers are left out
because the printed paper was not at hand; the coefficients agree in several public transcriptions of it.

Two choices are ours. Over ice the single set of enhancement coefficients (−100 to 0 °C) is used: several
transcriptions agree on it and it has no step at −50 °C, whereas the lower of the two-piece sets rests on one
transcription. Between −50 and 0 °C the choices differ by at most 5e-5 at one atmosphere, a fraction of the
distance of either from the newer virial model (2e-4 to 8e-4). The set ends at 0 °C and is used to 0.01 °C,
like the vapour pressure. Over water the two sets meet at 0 °C with a step: relative 3e-6 at one atmosphere,
6e-5 at 1.2 MPa. 0 °C itself belongs to the upper set.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from asfound.humidity.domains import (
    TEMPERATURE_RANGE_C,
    ZERO_C_IN_KELVIN,
    Numeric,
    as_numeric,
    as_real,
    is_ice,
    real_part,
    refuse_where,
    require_pressure,
    require_temperature,
)

Coefficients = tuple[Any, ...]

# ln e = Σ g_i T^(i−2) + g7 ln T for T^−2 … T^4, e in Pa, T in K. Ice has no T^−2 and no T^4.
VAPOUR_WATER: Coefficients = (
    -2.8365744e3,
    -6.028076559e3,
    1.954263612e1,
    -2.737830188e-2,
    1.6261698e-5,
    7.0229056e-10,
    -1.8680009e-13,
    2.7150305,
)
VAPOUR_ICE: Coefficients = (
    0.0,
    -5.8666426e3,
    2.232870244e1,
    1.39387003e-2,
    -3.4262402e-5,
    2.7040955e-8,
    0.0,
    6.7063522e-1,
)

# f = exp[α (1 − e/P) + β (P/e − 1)] with α = Σ A_i T^i and ln β = Σ B_i T^i; A0 … A3, then B0 … B3.
ENHANCEMENT_WATER: Coefficients = (
    -1.6302041e-1,
    1.8071570e-3,
    -6.7703064e-6,
    8.5813609e-9,
    -5.9890467e1,
    3.4378043e-1,
    -7.7326396e-4,
    6.3405286e-7,
)
ENHANCEMENT_SUPERCOOLED: Coefficients = (
    -5.5898101e-2,
    6.7140389e-4,
    -2.7492721e-6,
    3.8268958e-9,
    -8.1985393e1,
    5.8230823e-1,
    -1.6340527e-3,
    1.6725084e-6,
)
ENHANCEMENT_ICE: Coefficients = (
    -6.0190570e-2,
    7.3984060e-4,
    -3.0897838e-6,
    4.3669918e-9,
    -9.4868712e1,
    7.2392075e-1,
    -2.1963437e-3,
    2.4668279e-6,
)

# T = Σ c_i (ln e)^i / Σ d_i (ln e)^i, within 3e-4 K: c0 … c3, then d0 … d3. Only a first guess here.
INVERSE_WATER: Coefficients = (
    2.0798233e2,
    -2.0156028e1,
    4.6778925e-1,
    -9.2288067e-6,
    1.0,
    -1.3319669e-1,
    5.6577518e-3,
    -7.5172865e-5,
)
INVERSE_ICE: Coefficients = (
    2.1257969e2,
    -1.0264612e1,
    1.4354796e-1,
    0.0,
    1.0,
    -8.2871619e-2,
    2.3540411e-3,
    -2.4363951e-5,
)

# f·e passes smoothly through P at the boiling point; 100 °C at one atmosphere, 0.1 % beyond, is let by.
BOILING_MARGIN = 0.01

CONVERGED_K = 1e-11


def saturation_vapour_pressure(temperature_c: Numeric, over: Any = "water") -> Numeric:
    """Pressure of pure water vapour in equilibrium with water or ice, in Pa.

    temperature_c: °C (ITS-90), scalar or array; over water −50 to 100 (supercooled below 0), over ice −100 to
    0.01.
    over: "water" or "ice", one word or an array of words that broadcasts with the temperature.
    Returns Pa, in the broadcast shape. Raises ValueError outside the range or for another word.
    Source: Hardy 1998, saturation vapour pressure over water and over ice.
    """
    temperature_c, ice = as_numeric(temperature_c), is_ice(over)
    require_temperature("temperature", temperature_c, ice)
    return _vapour_pressure(temperature_c + ZERO_C_IN_KELVIN, ice)


def enhancement_factor(temperature_c: Numeric, pressure_pa: Numeric, over: Any = "water") -> Numeric:
    """Ratio of the vapour's partial pressure in saturated air to that of pure vapour, f = y·P/e, unit one.

    temperature_c, over: as for `saturation_vapour_pressure`.
    pressure_pa: absolute pressure of the air in Pa, 1e4 to 2.5e6.
    Returns the broadcast shape; about 1.004 at one atmosphere, 1.03 at 1 MPa.
    Raises ValueError outside the ranges, for another word, and where water boils (P more than 1 % below e).
    Source: Hardy 1998, enhancement factor (the functional equation of Greenspan 1976, refitted).
    """
    factor, _ = _factor_and_pressure(temperature_c, pressure_pa, over, "")
    return factor


def saturated_partial_pressure(
    temperature_c: Numeric, pressure_pa: Numeric, over: Any = "water", *, place: str = ""
) -> Numeric:
    """Partial pressure f·e of the vapour in air saturated over water or ice, in Pa.

    Arguments, ranges, errors and source as for `enhancement_factor`; `place` is the word that stands before
    temperature and pressure in an error message, such as "chamber".
    """
    factor, vapour_pa = _factor_and_pressure(temperature_c, pressure_pa, over, place)
    return factor * vapour_pa


def saturation_temperature_c(
    partial_pressure_pa: Numeric, pressure_pa: Numeric | None = None, over: Any = "water"
) -> Numeric:
    """Temperature at which air of this vapour pressure is saturated, in °C; solves the forward functions.

    partial_pressure_pa: vapour pressure in Pa, real.
    pressure_pa: absolute pressure of the air in Pa; without it the vapour is taken as pure (f = 1).
    over: "water" gives the dew point, "ice" the frost point; a word or an array of words.
    Returns °C in the broadcast shape, within 1e-9 K of what the forward functions say. With a pressure,
    a dew point inside the step of f at 0 °C is known to the step's width: 4e-5 K at one atmosphere, 8e-4 K at
    1.2 MPa.
    Raises ValueError where no temperature of the formulation's range fits.
    Source: Newton's method on Hardy 1998, started from its fits of dew and frost point.
    """
    partial_pa = as_real(partial_pressure_pa)
    ice = is_ice(over)
    air_pa = None if pressure_pa is None else as_real(pressure_pa)
    if air_pa is not None:
        require_pressure("pressure", air_pa)
    _require_saturable(partial_pa, air_pa, ice)
    target = np.log(partial_pa)
    warm = ~ice
    if air_pa is not None:
        # The side of 0 °C decides the set of f; it is read from the pressure, so that no step flips the set.
        at_zero = _ln_partial(np.float64(ZERO_C_IN_KELVIN), air_pa, np.False_, np.True_)
        warm = warm & (target >= at_zero - 1e-12)
    kelvin = _first_guess(target, ice)
    for _ in range(30):
        step = (_ln_partial(kelvin, air_pa, ice, warm) - target) / _slope(kelvin, ice)
        kelvin = kelvin - step
        if np.all(np.abs(step) < CONVERGED_K):
            break
    else:
        raise ArithmeticError("the dew or frost point did not converge")
    celsius = kelvin - ZERO_C_IN_KELVIN
    if air_pa is not None:
        celsius = np.where(ice | warm, celsius, np.minimum(celsius, 0.0))
    return celsius[()]


def _factor_and_pressure(
    temperature_c: Numeric, pressure_pa: Numeric, over: Any, place: str
) -> tuple[Numeric, Numeric]:
    temperature_c, pressure_pa, ice = as_numeric(temperature_c), as_numeric(pressure_pa), is_ice(over)
    require_temperature(f"{place} temperature".strip(), temperature_c, ice)
    require_pressure(f"{place} pressure".strip(), pressure_pa)
    kelvin = temperature_c + ZERO_C_IN_KELVIN
    vapour_pa = _vapour_pressure(kelvin, ice)
    _require_no_boiling(pressure_pa, vapour_pa, place)
    warm = real_part(temperature_c) >= 0.0
    return np.exp(_ln_factor(kelvin, pressure_pa, vapour_pa, ice, warm)), vapour_pa


def _require_no_boiling(pressure_pa: Numeric, vapour_pa: Numeric, place: str) -> None:
    air, vapour = np.broadcast_arrays(real_part(pressure_pa), real_part(vapour_pa))
    refuse_where(
        air < vapour * (1.0 - BOILING_MARGIN),
        lambda air_pa, vapour_pa: (
            f"{place} pressure {air_pa:.10g} Pa is below the vapour pressure".strip()
            + f" {vapour_pa:.6g} Pa at that temperature: water boils, no air is saturated"
        ),
        air,
        vapour,
    )


def _require_saturable(
    partial_pa: NDArray[np.float64], air_pa: NDArray[np.float64] | None, ice: NDArray[np.bool_]
) -> None:
    """Raise ValueError unless some temperature in range saturates air of this vapour pressure."""
    for phase, name, cure in (
        ("water", "dew point", "below −50 °C ask for the frost point"),
        ("ice", "frost point", "above 0 °C ask for the dew point"),
    ):
        frozen = np.bool_(phase == "ice")
        bounds = []
        for limit_c, warm in zip(TEMPERATURE_RANGE_C[phase], (False, True), strict=True):
            kelvin = np.float64(limit_c + ZERO_C_IN_KELVIN)
            bounds.append(np.exp(_ln_partial(kelvin, air_pa, frozen, np.bool_(warm))))
        low, high = bounds
        if air_pa is not None:
            high = np.minimum(high, air_pa)  # the boiling point is the highest dew point
        given, low, high, concerned = np.broadcast_arrays(partial_pa, low, high, ice == frozen)
        # 1e-9 is far below any reading and above the rounding of a humidity that came from the very limit
        outside = ~((given >= low * (1.0 - 1e-9)) & (given <= high * (1.0 + 1e-9))) & concerned
        said = f"Pa, where a {name} exists; {cure}"
        refuse_where(
            outside,
            lambda pa, bottom, top, said=said: (
                f"vapour pressure {pa:.10g} Pa is outside {bottom:.6g} to {top:.6g} {said}"
            ),
            given,
            low,
            high,
        )


def _vapour_pressure(kelvin: Numeric, ice: NDArray[np.bool_]) -> Numeric:
    return np.exp(_ln_vapour_pressure(kelvin, ice))


def _ln_vapour_pressure(kelvin: Numeric, ice: NDArray[np.bool_]) -> Numeric:
    *powers, of_logarithm = _select(ice, VAPOUR_ICE, VAPOUR_WATER)
    return _horner(powers, kelvin) / (kelvin * kelvin) + of_logarithm * np.log(kelvin)


def _slope(kelvin: NDArray[np.float64], ice: NDArray[np.bool_]) -> NDArray[np.float64]:
    """D ln e / dT. The slope of ln f is fifty times smaller: leaving it out costs Newton a step or two."""
    *powers, of_logarithm = _select(ice, VAPOUR_ICE, VAPOUR_WATER)
    scaled = [(index - 2) * power for index, power in enumerate(powers)]
    return np.asarray(_horner(scaled, kelvin) / kelvin**3 + of_logarithm / kelvin)


def _ln_factor(
    kelvin: Numeric, pressure_pa: Numeric, vapour_pa: Numeric, ice: NDArray[np.bool_], warm: NDArray[np.bool_]
) -> Numeric:
    water = _select(warm, ENHANCEMENT_WATER, ENHANCEMENT_SUPERCOOLED)
    chosen = _select(ice, ENHANCEMENT_ICE, water)
    alpha = _horner(chosen[:4], kelvin)
    beta = np.exp(_horner(chosen[4:], kelvin))
    return alpha * (1.0 - vapour_pa / pressure_pa) + beta * (pressure_pa / vapour_pa - 1.0)


def _ln_partial(
    kelvin: NDArray[np.float64] | np.float64,
    air_pa: NDArray[np.float64] | None,
    ice: NDArray[np.bool_] | np.bool_,
    warm: NDArray[np.bool_] | np.bool_,
) -> NDArray[np.float64]:
    ice, warm = np.asarray(ice), np.asarray(warm)
    ln_vapour = _ln_vapour_pressure(kelvin, ice)
    if air_pa is None:
        return np.asarray(ln_vapour)
    return np.asarray(ln_vapour + _ln_factor(kelvin, air_pa, np.exp(ln_vapour), ice, warm))


def _first_guess(ln_vapour: NDArray[np.float64], ice: NDArray[np.bool_]) -> NDArray[np.float64]:
    chosen = _select(ice, INVERSE_ICE, INVERSE_WATER)
    return np.asarray(_horner(chosen[:4], ln_vapour) / _horner(chosen[4:], ln_vapour))


def _select(condition: NDArray[np.bool_], when_true: Coefficients, when_false: Coefficients) -> Coefficients:
    """Coefficients are chosen, not results: a derivative passes through whatever is computed from them."""
    if condition.all():
        return when_true
    if not condition.any():
        return when_false
    return tuple(np.where(condition, one, other) for one, other in zip(when_true, when_false, strict=True))


def _horner(coefficients: Any, variable: Numeric) -> Numeric:
    """Σ c_i x^i."""
    *lower, result = coefficients
    for coefficient in reversed(lower):
        result = result * variable + coefficient
    return result
