"""Relative humidity over saturated salt solutions, and what its publication says it is worth.

Source: L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", Journal of Research of
the National Bureau of Standards 81A (1977) 89–96: polynomials in the temperature, and a table every 5 °C
with an estimated uncertainty beside each value. The table truncates what the polynomial gives, it does not
round.

How the numbers came here: the polynomials of nine salts come from public transcriptions, which disagree on a
sign for LiCl, CH3COOK and K2CO3; the signs here reproduce the table. The polynomials of NaOH, NaBr and
(NH4)2SO4 were not to be had, so their table was fitted (residuals within its truncation). The table itself
and its uncertainties are from memory, some confirmed. Ranges end where the table at hand ends, at 50 °C or
before, although the publication goes further for several salts.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

import numpy as np

from asfound.humidity.domains import Numeric, as_numeric, real_part, require_within

TABLE_STEP_C = 5.0


@dataclass(frozen=True, kw_only=True)
class _Salt:
    coefficients: tuple[float, ...]
    """RH = Σ a_i t^i in %RH, t in °C."""
    lowest_c: float
    uncertainties: tuple[float, ...]
    """Published estimated uncertainty in %RH, every 5 °C from `lowest_c` up."""

    @property
    def range_c(self) -> tuple[float, float]:
        return self.lowest_c, self.lowest_c + TABLE_STEP_C * (len(self.uncertainties) - 1)


_SALTS = {
    "NaOH": _Salt(
        coefficients=(11.5609, -0.132442),
        lowest_c=15.0,
        uncertainties=(2.8, 2.4, 2.1, 1.7, 1.5, 1.2),
    ),
    "LiCl": _Salt(
        coefficients=(11.2323, 0.00824245, -0.214890e-3),
        lowest_c=0.0,
        uncertainties=(0.54, 0.47, 0.41, 0.35, 0.31, 0.27, 0.24, 0.22, 0.21, 0.21, 0.22),
    ),
    "CH3COOK": _Salt(
        coefficients=(22.4388, 0.156288, -0.612268e-2),
        lowest_c=10.0,
        uncertainties=(0.53, 0.32, 0.25, 0.32, 0.53),
    ),
    "MgCl2": _Salt(
        coefficients=(33.6686, -0.00797397, -0.108988e-2),
        lowest_c=0.0,
        uncertainties=(0.33, 0.28, 0.24, 0.21, 0.18, 0.16, 0.14, 0.13, 0.13, 0.13, 0.14),
    ),
    "K2CO3": _Salt(
        coefficients=(43.1315, 0.00147523),
        lowest_c=0.0,
        uncertainties=(0.66, 0.50, 0.39, 0.33, 0.33, 0.39, 0.50),
    ),
    "Mg(NO3)2": _Salt(
        coefficients=(60.3514, -0.298153),
        lowest_c=0.0,
        uncertainties=(0.55, 0.43, 0.33, 0.27, 0.23, 0.22, 0.24, 0.29, 0.37, 0.47, 0.60),
    ),
    "NaBr": _Salt(
        coefficients=(64.7176, -0.221933, -4.02158e-3, 5.89326e-5),
        lowest_c=5.0,
        uncertainties=(0.72, 0.60, 0.51, 0.44, 0.40, 0.38, 0.38, 0.41, 0.47, 0.55),
    ),
    "NaCl": _Salt(
        coefficients=(75.5164, 0.0398321, -0.265459e-2, 0.2848e-4),
        lowest_c=0.0,
        uncertainties=(0.34, 0.27, 0.22, 0.18, 0.14, 0.12, 0.11, 0.12, 0.13, 0.16, 0.19),
    ),
    "(NH4)2SO4": _Salt(
        coefficients=(82.7812, -0.0715704),
        lowest_c=0.0,
        uncertainties=(0.90, 0.68, 0.51, 0.38, 0.31, 0.28, 0.30, 0.38, 0.51, 0.69, 0.90),
    ),
    "KCl": _Salt(
        coefficients=(88.6190, -0.193340, 0.899706e-3),
        lowest_c=0.0,
        uncertainties=(0.53, 0.45, 0.39, 0.33, 0.29, 0.26, 0.25, 0.25, 0.25, 0.28, 0.31),
    ),
    "KNO3": _Salt(
        coefficients=(96.3361, 0.0112371, -0.484514e-2),
        lowest_c=0.0,
        uncertainties=(2.9, 2.1, 1.4, 0.96, 0.66, 0.55, 0.60, 0.83, 1.2, 1.8, 2.5),
    ),
    "K2SO4": _Salt(
        coefficients=(98.7792, -0.0590502),
        lowest_c=0.0,
        uncertainties=(1.1, 0.91, 0.76, 0.63, 0.53, 0.45, 0.40, 0.38, 0.38, 0.40, 0.45),
    ),
}

SALTS: tuple[str, ...] = tuple(_SALTS)
"""The known salts by chemical formula, from the driest solution to the most humid."""


def salt_rh(salt: str, temperature_c: Numeric) -> Numeric:
    """Equilibrium humidity over a saturated solution of one salt, in %RH over water.

    salt: one of `SALTS`. temperature_c: °C of the solution, scalar or array, within `salt_range_c(salt)`.
    Returns %RH in the shape of the temperature. Raises ValueError for another salt or outside the range.
    Source: Greenspan 1977, regular polynomials.
    """
    known, temperature_c = _within_range(salt, temperature_c)
    *lower, rh = known.coefficients
    for coefficient in reversed(lower):
        rh = rh * temperature_c + coefficient
    return rh


def salt_uncertainty(salt: str, temperature_c: Numeric) -> Numeric:
    """The uncertainty that the publication states for `salt_rh`, %RH; linear between its table's temperatures.

    Arguments and errors as for `salt_rh`. It is Greenspan's "estimated uncertainty", printed without a
    coverage factor that we could verify: the budget that uses it must say what it assumes of it.
    Source: Greenspan 1977, Table 2, from memory.
    """
    known, temperature_c = _within_range(salt, temperature_c)
    table_c = known.lowest_c + TABLE_STEP_C * np.arange(len(known.uncertainties))
    return np.interp(real_part(temperature_c), table_c, known.uncertainties)


def salt_range_c(salt: str) -> tuple[float, float]:
    """The lowest and the highest temperature, in °C, for which `salt_rh` gives a value.

    Raises ValueError for a salt that is not in `SALTS`.
    """
    return _known(salt).range_c


def _within_range(salt: str, temperature_c: Numeric) -> tuple[_Salt, Numeric]:
    known, temperature_c = _known(salt), as_numeric(temperature_c)
    require_within(f"temperature of the {salt} solution", temperature_c, known.range_c, "°C")
    return known, temperature_c


def _known(salt: str) -> _Salt:
    if salt not in _SALTS:
        near = difflib.get_close_matches(salt, SALTS, n=1) if isinstance(salt, str) else []
        suggestion = f"did you mean {near[0]}?" if near else f"known are {', '.join(SALTS)}"
        raise ValueError(f"no published humidity for the salt {salt!r}; {suggestion}")
    return _SALTS[salt]
