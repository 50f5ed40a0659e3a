"""How pages say things: units and numbers as people read them, states as a word with its kind of mark."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from asfound.assessment.due import DueState
from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.assessment.standing import State
from asfound.faults import Fault
from asfound.rounding import MINUS, NOTHING, expanded, fixed, significant, value_with
from asfound.units import CANONICAL

_UNITS = {"degC": "°C", "degF": "°F"}
_UNIT_WORDS = re.compile(r"\b(degC|degF)\b")
# A hyphen before a digit is a minus, unless a word or a day goes on with it.
_HYPHEN_MINUS = re.compile(r"(?<![\w.])-(?=\.?\d)")
_POWER = re.compile(rf"\^({MINUS}?[0-9]+)")
_RAISED = str.maketrans(f"{MINUS}0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_SHOWN = {"pressure": (1e-3, "kPa"), "fraction": (100.0, "%")}


@dataclass(frozen=True, kw_only=True)
class Link:
    """Words that lead to a page or file; `path` counts from the top of the site."""

    text: str
    path: str


@dataclass(frozen=True, kw_only=True)
class Chip:
    """A state: its word, and the kind that gives it glyph and colour (styles, `.state-KIND`)."""

    word: str
    kind: str


@dataclass(frozen=True, kw_only=True)
class Fact:
    """A name and what is said of it; `note` says since when or from where."""

    name: str
    value: str
    note: str = ""
    link: Link | None = None


_STATES = {
    State.OUT: "out",
    State.CLOSE: "close",
    State.IN: "ok",
    State.NONE: "none",
    State.NEVER: "overdue",
}
_VERDICTS = {
    Verdict.PASS: "ok",
    Verdict.CONDITIONAL_PASS: "close",
    Verdict.CONDITIONAL_FAIL: "close",
    Verdict.FAIL: "out",
    Verdict.UNDECIDED: "close",
    Verdict.NONE: "none",
}
_DUE = {
    DueState.IN_DATE: "ok",
    DueState.DUE_SOON: "due",
    DueState.IN_GRACE: "due",
    DueState.OVERDUE: "overdue",
    DueState.NEVER: "overdue",
    DueState.DEFERRED: "due",
    DueState.OUT_OF_SERVICE: "off",
}
_DRIFT = {"drifting": "drift", "watch": "close", "steady": "ok", "too few visits": "none"}
_CASES = {"nobody has it yet": "out", "open": "close", "closed": "ok"}

DRIFTING = Chip(word="drifting", kind="drift")
WITHDRAWN = Chip(word="withdrawn", kind="void")
ISSUED = Chip(word="issued", kind="ok")
REPLACED = Chip(word="replaced", kind="void")
PREVIEW = Chip(word="preview", kind="unreviewed")


def state_chip(state: State) -> Chip:
    """Conformity of a sensor."""
    return Chip(word=str(state), kind=_STATES[state])


def verdict_chip(verdict: Verdict) -> Chip:
    """Verdict of one result."""
    return Chip(word=str(verdict), kind=_VERDICTS[verdict])


def due_chip(state: DueState) -> Chip:
    """Where a sensor stands in its interval."""
    return Chip(word=str(state), kind=_DUE[state])


def drift_chip(state: str) -> Chip:
    """State of a channel's drift."""
    return Chip(word=state, kind=_DRIFT[state])


def case_chip(state: str) -> Chip:
    """State of a finding."""
    return Chip(word=state, kind=_CASES[state])


def reservation_chip(fault: Fault) -> Chip:
    """A reservation by its rule's name."""
    return Chip(word=fault.rule.name.replace("-", " "), kind="reserved")


def unit(symbol: str) -> str:
    """`degC` → `°C`; other symbols are read as they are written."""
    return _UNITS.get(symbol, symbol)


def shown(text: str) -> str:
    """A sentence or a written amount as a page shows it: °C for degC, a true minus before digits."""
    return _HYPHEN_MINUS.sub(MINUS, _UNIT_WORDS.sub(lambda found: _UNITS[found[0]], text))


def shown_unit(quantity: str) -> tuple[float, str]:
    """The unit that pages show a quantity in, and what an amount in the canonical unit is multiplied by for it."""
    scale, symbol = _SHOWN.get(quantity, (1.0, CANONICAL[quantity]))
    return scale, unit(symbol)


def amount(value: float, quantity: str, per: str = "") -> str:
    """An amount from the canonical unit of its quantity, to six digits at most: `2 %RH`, `0.05 kPa`."""
    scale, symbol = shown_unit(quantity)
    number = f"{value * scale:.6g}".replace("-", MINUS)
    return f"{number} {symbol}{per}"


def expanded_range(low: float, high: float, quantity: str) -> str:
    """`0.10 to 0.41 kPa`: expanded uncertainties to two digits, one where they agree."""
    scale, symbol = shown_unit(quantity)
    ends = dict.fromkeys(expanded(U * scale) for U in (low, high))
    return f"{' to '.join(ends)} {symbol}"


def percent(share: float) -> str:
    """A probability in percent; the ends are said, not rounded to certainty."""
    if not math.isfinite(share):
        return NOTHING
    if share < 0.0005:
        return "< 0.1 %"
    return "> 99.9 %" if share > 0.9995 else f"{fixed(100 * share, 1)} %"


def error_with_u(result: Result) -> str:
    """`+0.18 ± 0.23`: the error and its expanded uncertainty, without the unit."""
    return difference(result.error, result.U)


def difference(value: float, U: float) -> str:
    """A signed value ± U, both to the last digit of U."""
    if not math.isfinite(value):
        return NOTHING
    if not math.isfinite(U) or U <= 0:
        return fixed(value, 2, sign=True)
    return f"{value_with(value, U, sign=True)} ± {expanded(U)}"


def tolerance(result: Result) -> str:
    """± the tolerance that judged a result, as finely as its U."""
    return f"±{value_with(result.tolerance, result.U)}" if math.isfinite(result.tolerance) else NOTHING


def point(result: Result) -> str:
    """The humidity aimed at."""
    return target(result.target)


def target(humidity: float) -> str:
    """A set point, `15 %RH`; a dash where a row names none."""
    return f"{humidity:g} %RH" if math.isfinite(humidity) else NOTHING


def value_at(result: Result) -> str:
    """The reference value, to the last digit of U."""
    return value_with(result.reference_value, result.U)


def phase(name: str) -> str:
    """`as_found` → `as found`."""
    return name.replace("_", " ")


def result_sentence(result: Result, at: str = "") -> str:
    """`error +2.49 ± 0.31 %RH at 40 %RH, tolerance ±1.50 %RH: fail`; `at` stands in place of the set point."""
    symbol = unit(result.unit)
    said = f"error {error_with_u(result)} {symbol} at {at or point(result)}"
    if math.isfinite(result.tolerance):
        said += f", tolerance {tolerance(result)} {symbol}"
    return f"{said}: {result.verdict}"


def since(first_day: date) -> str:
    """`since 2025-01-01`; nothing for a setting that always held."""
    return "" if first_day == date.min else f"since {first_day}"


def days(first: date, last: date) -> str:
    """`2024-01-23 to 2026-10-20`, one day where they agree."""
    return str(first) if first == last else f"{first} to {last}"


def equal(symbol: str, number: str) -> str:
    """`ν = 12` and `ν = ∞`, but `ν over 1000`."""
    return f"{symbol} = {number}" if number[:1].isdigit() or number == "∞" else f"{symbol} {number}"


def way(direction: str, one_way: str) -> str:
    """How a point was approached; `rising only` where the other way was not read."""
    return f"{direction} only" if one_way else direction


def unread_side(result: Result) -> str:
    """What the other side of the declared loop would have shown of a point that was read one way."""
    came = "from the start" if result.direction == "start" else way(result.direction, result.one_way)
    error = f"{value_with(result.error + result.across, result.U, sign=True)} {unit(result.unit)}"
    return f"{came}: the other side of its declared loop, {error}, was not read and would be {result.other_way}"


def spread(values: Iterable[float], places: int, symbol: str) -> str:
    """`18.1 to 18.6 °C`, one number where they agree, nothing where none was read."""
    good = [value for value in values if math.isfinite(value)]
    if not good:
        return ""
    low, high = fixed(min(good), places), fixed(max(good), places)
    return f"{low} {symbol}" if low == high else f"{low} to {high} {symbol}"


def listed(words: Iterable[str]) -> str:
    """`a, b and c`."""
    items = list(words)
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


def counted(number: int, word: str, plural: str = "") -> str:
    """`1 visit`, `3 visits`."""
    return f"{number} {word if number == 1 else plural or word + 's'}"


def verb(stem: str, number: int) -> str:
    """`1 result moves`, `3 results move`."""
    return f"{stem}s" if number == 1 else stem


def digits(value: float, number: int) -> str:
    """A number to so many significant digits, powers of ten raised: `1.21·10⁻⁵`."""
    return _POWER.sub(lambda found: found[1].translate(_RAISED), significant(value, number))
