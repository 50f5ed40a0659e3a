"""Numbers as they are shown: U to two significant digits, the value to match (JCGM 100:2008, 7.2.6).

Rounding is done in decimal on the shortest text of the number, half away from zero, so that a printed number never
depends on a binary digit.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Context, Decimal

NOTHING = "–"
"""Stands where there is no number."""
MINUS = "−"
_WIDE = Context(prec=800)
"""Holds every digit of the largest and of the smallest number."""


def decimals_for(uncertainty: float, digits: int = 2) -> int:
    """Decimal places at which an uncertainty has this many significant digits (0 where it needs none)."""
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 2
    places = digits - 1 - math.floor(math.log10(uncertainty))
    rounded = _rounded(uncertainty, places)  # 0.0996 rounds to 0.10, one place fewer
    if rounded > 0 and digits - 1 - rounded.adjusted() < places:
        places -= 1
    return max(places, 0)


def expanded(uncertainty: float) -> str:
    """U to two significant digits."""
    return fixed(uncertainty, decimals_for(uncertainty))


def value_with(value: float, uncertainty: float, *, sign: bool = False) -> str:
    """A value rounded to the last digit of its U."""
    return fixed(value, decimals_for(uncertainty), sign=sign)


def fixed(value: float, places: int, *, sign: bool = False) -> str:
    """A number with so many decimal places and a true minus; a dash where there is none."""
    if not math.isfinite(value):
        return NOTHING
    rounded = _rounded(value, places)
    if rounded == 0:
        rounded = abs(rounded)
    text = f"{abs(rounded):f}"
    if rounded < 0:
        return MINUS + text
    return f"+{text}" if sign and rounded > 0 else text


def significant(value: float, digits: int) -> str:
    """A number to so many significant digits, without an exponent where it is easily read."""
    if not math.isfinite(value):
        return NOTHING if math.isnan(value) else "∞"
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if -5 < size < 7:
        return fixed(value, decimals_for(abs(value), digits))
    mantissa, _, exponent = f"{value:.{digits - 1}e}".partition("e")
    return f"{mantissa.replace('-', MINUS)}·10^{int(exponent)}".replace("^-", f"^{MINUS}")


def freedom(nu: float) -> str:
    """Degrees of freedom to three digits; where k no longer depends on them, only that they are many."""
    if math.isnan(nu):
        return NOTHING
    if math.isinf(nu):
        return "∞"
    return "over 1000" if nu > 1000 else significant(nu, 3)


def published(value: float) -> str:
    """A number for data files: 10 significant digits, so that processors' last bits do not show; '' for none."""
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return f"{value + 0.0:.10g}"  # no minus before zero


def _rounded(value: float, places: int) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP, context=_WIDE)


def json_number(value: float) -> float | None:
    """A number at 10 significant digits; null where there is none or it has no end."""
    return float(published(value)) if math.isfinite(value) else None
