"""What is left of an approach to a new point when a sensor is read: first order, by its declared time constant.

Of a nominal constant all that should be left is corrected. Of one that is only known not to be longer nothing says that
anything is left: the truth lies between none and what the longest would leave, and half of that is corrected.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from asfound.records.models import TimeConstant
from asfound.uncertainty.sources import RECTANGULAR_DIVISOR

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
"""Places and weights of the mean over −1 … 1 (twice it), exact for polynomials to the 31st degree."""


def share_left(waited_min: Sequence[float], constant: TimeConstant) -> tuple[float, float]:
    """(share of the step to be corrected, half-width of what that leaves), both of the mean of the readings.

    `waited_min`: minutes at the point at each reading. A nominal constant lies anywhere in ± its spread: the share is
    the mean over that, and the half-width that of a rectangle with the same standard deviation (JCGM 101:2008, 6.4.2).
    """
    if constant.longest is not None:
        half = _left(waited_min, constant.longest) / 2.0
        return half, half
    nominal, spread = constant.nominal or 0.0, constant.spread or 0.0
    if spread == 0.0:
        return _left(waited_min, nominal), 0.0
    found = np.array([_left(waited_min, nominal + spread * node) for node in _NODES.tolist()])
    mean = float(_WEIGHTS @ found) / 2.0
    variance = float(_WEIGHTS @ (found - mean) ** 2) / 2.0
    return mean, RECTANGULAR_DIVISOR * math.sqrt(variance)


def _left(waited_min: Sequence[float], tau_min: float) -> float:
    if tau_min == 0.0:  # declared to follow at once
        return 0.0
    # math.exp is the same on every machine, numpy's vector loops are not to the last digit.
    return math.fsum(math.exp(-minutes / tau_min) for minutes in waited_min) / len(waited_min)
