"""Two values of one thing, compared: what is stated in a certificate, and what is computed now.

A number differs where |Δ| is larger than the least that its place says; any word where it is not the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from asfound.records.models.stated import Number, as_float
from asfound.rounding import NOTHING, decimals_for, fixed, significant

Value = float | str | None

LEAST_SHARE = 1e-6
"""of U; and of what has no unit, relative"""
MANY = 1000.0
"""Degrees of freedom from which more of them make no difference."""
_OF_OTHERS = frozenset({"certificate_issued", "certificate_number"})
"""what other certificates decide"""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One number or word that is stated and not computed."""

    where: str
    """which result, or which part of the certificate"""
    what: str
    stated: Value
    computed: Value
    unit: str = ""
    U: float = math.nan
    """the stated one, by which a change is measured; nan where none belongs to it"""

    @property
    def delta(self) -> float:
        """Computed − stated; nan where one of them is no number."""
        if isinstance(self.stated, float) and isinstance(self.computed, float):
            return self.computed - self.stated
        return math.nan

    @property
    def words(self) -> str:
        """`as found, 40 %RH: error +0.38 %RH stated, +0.41 computed; Δ = +0.03, 8 % of U`."""
        stated, computed = self._shown()
        unit = f" {self.unit}" if self.unit and isinstance(self.stated, float) else ""
        text = f"{self.where}: {self.what} {stated}{unit} stated, {computed} computed"
        if math.isfinite(self.delta) and self.unit:
            text += f"; Δ = {_signed(significant(self.delta, 2))}"
            if self.U > 0:
                text += f", {significant(100 * abs(self.delta) / self.U, 2)} % of U"
        return text

    def _shown(self) -> tuple[str, str]:
        """Both with as many places as U needs, or as it takes to tell them apart."""
        if not (isinstance(self.stated, float) and isinstance(self.computed, float)):
            return _text(self.stated), _text(self.computed)
        known = self.U if self.unit and self.U > 0 else max(abs(self.stated), abs(self.computed)) / 10
        signed = self.unit != "" and "error" in self.what
        for places in range(decimals_for(known), 15):
            shown = [fixed(value, places, sign=signed) for value in (self.stated, self.computed)]
            if shown[0] != shown[1]:
                return shown[0], shown[1]
        return repr(self.stated), repr(self.computed)


def document_differences(stated: Any, computed: Any, where: str, what: str) -> Iterator[Difference]:
    """Of what JSON holds, leaf by leaf; what only the newer of two versions of the code says is no difference."""
    if isinstance(stated, Mapping) and isinstance(computed, Mapping):
        for key, value in stated.items():
            if key not in _OF_OTHERS:
                yield from document_differences(value, computed.get(key), where, key)
        return
    if isinstance(stated, list) and isinstance(computed, list) and len(stated) == len(computed):
        for one, other in zip(stated, computed, strict=True):
            yield from document_differences(one, other, where, what)
        return
    if isinstance(stated, float | int) and isinstance(computed, float | int) and not isinstance(stated, bool):
        if abs(stated - computed) > LEAST_SHARE * max(abs(stated), abs(computed)):
            yield Difference(where=where, what=_spaced(what), stated=float(stated), computed=float(computed))
    elif stated != computed:
        yield Difference(where=where, what=_spaced(what), stated=_in_words(stated), computed=_in_words(computed))


def _spaced(key: str) -> str:
    return key.replace("_", " ")


def _in_words(value: Any) -> Value:
    """A leaf as it is; what is no leaf in words."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, list):
        return "; ".join(str(_in_words(one)) for one in value) or NOTHING
    return str(value)


def number_differences(
    where: str, what: str, stated: Number, computed: Number, unit: str, U: float, least: float
) -> Iterator[Difference]:
    """Of numbers that lie more than `least` apart, in `unit`; `U`: by which a change of them is measured."""
    one, other = as_float(stated), as_float(computed)
    if what.startswith("ν"):
        one, other, least = min(one, MANY), min(other, MANY), min(least, LEAST_SHARE * MANY)
    if (math.isnan(one) and math.isnan(other)) or one == other:
        return
    if not abs(one - other) <= least:
        mine, others = (None if math.isnan(value) else value for value in (one, other))
        yield Difference(where=where, what=what, stated=mine, computed=others, unit=unit, U=U)


def word_differences(where: str, what: str, stated: Any, computed: Any) -> Iterator[Difference]:
    """Of words, days or counts that are not the same."""
    if stated != computed:
        yield Difference(where=where, what=what, stated=_leaf(stated), computed=_leaf(computed))


def _leaf(value: Any) -> Value:
    if isinstance(value, float):
        return f"{value:g}"
    return value if value is None or isinstance(value, str) else str(value)


def whether_given(value: object) -> str | None:
    """What is said of a thing that is there or not."""
    return None if value is None else "given"


def _text(value: Value) -> str:
    if value is None:
        return "none"
    return f"“{value}”" if isinstance(value, str) else significant(value, 6)


def _signed(text: str) -> str:
    return text if text.startswith("−") else f"+{text}"
