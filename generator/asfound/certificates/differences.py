"""What two statements of one certificate say differently: the issued one, and what is computed now.

Numbers differ where |Δ| > 1e-6·U; Monte Carlo answers only beyond the scatter of two answers of so many trials. Every
other word differs where it is not the same.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from asfound.certificates import wording as words
from asfound.certificates.statement import Statement
from asfound.rounding import NOTHING, decimals_for, fixed, significant

Value = float | str | None

LEAST_SHARE = 1e-6
"""of U; and of what has no unit, relative"""
MONTE_CARLO_SPREAD = 5.0
"""Standard deviations by which two Monte Carlo answers from the same inputs may differ (our choice)."""
MANY = 1000.0
"""Degrees of freedom from which more of them make no difference."""
INPUTS = frozenset({"repeatability", "ν of the repeatability", "basis of the repeatability"})
"""What results are computed with: where it moves none of them, nothing that is certified differs."""
_IN_UNIT = {
    "reference_value": "reference value",
    "indication": "indication",
    "error": "error",
    "settling_correction": "correction for settling",
    "u": "u",
    "U": "U",
    "tolerance": "tolerance",
}
_WITHOUT_UNIT = {"nu_eff": "ν", "k": "k", "p_outside": "P(outside)", "tur": "T/U"}
_OF_ROW = {
    "time": "time",
    "direction": "direction",
    "method": "method",
    "reference": "reference",
    "part": "part that is judged",
    "readings": "number of readings",
    "verdict": "verdict",
}
_SPLIT = {
    "sensor_indication": "indication of the sensor",
    "sensor_error": "error of the sensor",
    "sensor_U": "U of the sensor",
    "loop_error": "error of the loop",
    "loop_U": "U of the loop",
}
_SPLIT_WITHOUT_UNIT = {"sensor_k": "k of the sensor", "loop_k": "k of the loop"}
_ANSWER = {"low": "lower end of the interval", "high": "upper end of the interval"}
_DRAWN = frozenset({"u", "U", "k", "p_outside", "tur", "low", "high"})
"""what a Monte Carlo answer gives"""
_DECISION = {
    "rule": "decision rule",
    "from": "first day of the rule",
    "guard_band": "guard band",
    "largest_risk": "largest risk",
    "largest_u_over_t": "largest U/T",
    "words": "words of the rule",
    "tolerance": "words of the tolerance",
}
_COMPARED = frozenset(
    {"target", "temperature_c", "repeatability", "answer", "split", "plateau", "reservations", "rows", "hysteresis"}
    | {"phase", "channel", "unit", "tolerance", "summary"}
    | set(_IN_UNIT)
    | set(_WITHOUT_UNIT)
    | set(_OF_ROW)
    | set(_DECISION)
)
"""keys of groups, rows and decision that are compared by name; any other is compared as it stands"""
_NOT_BESIDE = frozenset(
    {"schema", "number", "sensor", "visit", "revision", "replaces", "issued", "authorised", "evidence"}
    | {"results", "decision", "reservations"}
)
"""what makes it an issued certificate, and what is compared by itself; all else follows from the records too"""
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
        """computed − stated; nan where one of them is no number."""
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


def differences(stated: Statement, computed: Statement, *, apart_from: Collection[str] = ()) -> tuple[Difference, ...]:
    """Differences of results, verdicts, reservations and decision, in the order of the certificate.

    `apart_from`: names of rules whose reservations `computed` cannot know.
    """
    return tuple(_Comparison(stated, computed, frozenset(apart_from)).all())


def differences_beside(
    stated: Statement, computed: Statement, *, apart_from: Collection[str] = ()
) -> tuple[Difference, ...]:
    """Differences of what stands beside results and decision: item, place, conditions, traceability, words.

    `apart_from`: names of rules whose reservations `computed` cannot know.
    """
    found = [
        difference
        for key, value in stated.items()
        if key not in _NOT_BESIDE
        for difference in _beside(value, computed.get(key), key, key)
    ]
    mine, others = ({r["rule"]: r for r in one["reservations"]} for one in (stated, computed))
    if set(mine) & set(apart_from):  # what it withholds may be the only result of its kind
        found = [difference for difference in found if difference.what != "coverage"]
    for rule in mine.keys() & others.keys() - set(apart_from):
        for key in ("words", "withholds_verdict", "withholds_certificate"):
            found += _beside(mine[rule][key], others[rule][key], f"reservation {rule}", key)
    return tuple(found)


def _others(stated: Mapping[str, Any], computed: Mapping[str, Any], where: str) -> Iterator[Difference]:
    """Of groups, rows and decision what is not compared by name."""
    for key, value in stated.items():
        if key not in _COMPARED:
            yield from _beside(value, computed.get(key), where, key)


def _beside(stated: Any, computed: Any, where: str, what: str) -> Iterator[Difference]:
    """Leaf by leaf; what only the newer of two versions of the code says is no difference."""
    if isinstance(stated, Mapping) and isinstance(computed, Mapping):
        for key, value in stated.items():
            if key not in _OF_OTHERS:
                yield from _beside(value, computed.get(key), where, key)
        return
    if isinstance(stated, list) and isinstance(computed, list) and len(stated) == len(computed):
        for one, other in zip(stated, computed, strict=True):
            yield from _beside(one, other, where, what)
        return
    if isinstance(stated, float | int) and isinstance(computed, float | int) and not isinstance(stated, bool):
        if abs(stated - computed) > LEAST_SHARE * max(abs(stated), abs(computed)):
            yield Difference(where=where, what=_spaced(what), stated=float(stated), computed=float(computed))
    elif stated != computed:
        yield Difference(where=where, what=_spaced(what), stated=_summed(stated), computed=_summed(computed))


def _spaced(key: str) -> str:
    return key.replace("_", " ")


def _summed(value: Any) -> Value:
    """A leaf as it is; what is no leaf in words."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, list):
        return "; ".join(str(_summed(one)) for one in value) or NOTHING
    return str(value)


class _Comparison:
    """Two statements of one certificate, compared."""

    def __init__(self, stated: Statement, computed: Statement, apart_from: frozenset[str]) -> None:
        self.stated, self.computed, self.apart_from = stated, computed, apart_from
        self.rules = [{r["mark"]: r["rule"] for r in one["reservations"]} for one in (stated, computed)]
        self.channels = {group["channel"] for group in stated["results"]}
        self.held_apart = False
        """whether a result is withheld by what `computed` cannot know"""

    def all(self) -> Iterator[Difference]:
        mine, others = (
            {(group["phase"], group["channel"]): group for group in one["results"]}
            for one in (self.stated, self.computed)
        )
        found = [
            difference
            for key in dict.fromkeys([*mine, *others])
            for difference in self._group(mine.get(key), others.get(key))
        ]
        yield from found
        yield from self._decision(judged=any(d.what in ("verdict", "result", "reservation") for d in found))

    def _group(self, stated: Mapping[str, Any] | None, computed: Mapping[str, Any] | None) -> Iterator[Difference]:
        group = stated or computed
        assert group is not None
        rows, others = ({row["plateau"]: row for row in one["rows"]} if one else {} for one in (stated, computed))
        for plateau in sorted(rows.keys() | others.keys()):
            row, other = rows.get(plateau), others.get(plateau)
            where = self._where(group, row or other)
            if row is None or other is None:
                yield Difference(where=where, what="result", stated=_whether(row), computed=_whether(other))
            else:
                yield from self._row(where, group["unit"], row, other)
        if stated and computed:
            where = self._where(group, None)
            yield from _others(stated, computed, where)
            yield from _word(where, "unit", stated["unit"], computed["unit"])
            yield from _word(where, "tolerance", _tolerance(stated), _tolerance(computed))
            yield from self._hysteresis(group, stated, computed)

    def _where(self, group: Mapping[str, Any], row: Mapping[str, Any] | None) -> str:
        phase = words.PHASES.get(group["phase"], group["phase"]).lower()
        if row is None:
            return f"{phase}, {group['channel']}"
        at = f"{float(row['target']):g} %RH" if row["target"] is not None else f"plateau {row['plateau']}"
        way = "" if row["direction"] == "start" else f" {row['direction']}"
        several = len(self.channels) > 1 or group["channel"] != "humidity"
        channel = f"{group['channel']} at " if several else ""
        return f"{phase}, {channel}{at}{way}"

    def _row(
        self, where: str, unit: str, stated: Mapping[str, Any], computed: Mapping[str, Any]
    ) -> Iterator[Difference]:
        rules, others = (
            frozenset(known.get(mark, mark) for mark in row["reservations"])
            for known, row in zip(self.rules, (stated, computed), strict=True)
        )
        for rule in sorted((rules ^ others) - self.apart_from):
            one, other = (rule if rule in held else None for held in (rules, others))
            yield Difference(where=where, what="reservation", stated=one, computed=other)
        withheld = self._withheld_apart(stated, rules)
        for key, name in _OF_ROW.items():
            if not (withheld and key == "verdict"):
                yield from _word(where, name, stated[key], computed[key])
        yield from _others(stated, computed, where)
        yield from self._numbers(where, unit, stated, computed, withheld=withheld)

    def _withheld_apart(self, stated: Mapping[str, Any], rules: frozenset[str]) -> bool:
        """Whether the row has no U because of a reservation that `computed` cannot know."""
        apart = stated["answer"]["kind"] == "withheld" and bool(rules & self.apart_from)
        self.held_apart |= apart
        return apart

    def _numbers(
        self, where: str, unit: str, stated: Mapping[str, Any], computed: Mapping[str, Any], *, withheld: bool
    ) -> Iterator[Difference]:
        U = _float(stated["U"]) if stated["U"] is not None else _float(computed["U"])
        answers = stated["answer"], computed["answer"]
        drawn = _scatter(answers, U)

        def number(key: str, name: str, one: Any, other: Any, in_unit: str, least: float) -> Iterator[Difference]:
            if withheld and one is None:
                return
            if drawn and key in _DRAWN:
                least = max(least, drawn * (U if in_unit else abs(_float(one)) if key != "p_outside" else 1.0))
            yield from _number(where, name, one, other, in_unit, U, least)

        share = LEAST_SHARE * U if U > 0 else 1e-9
        for key, name, own in (("target", "target", "%RH"), ("temperature_c", "temperature", "degC")):
            yield from number(key, name, stated[key], computed[key], own, LEAST_SHARE)
        for key, name in _IN_UNIT.items():
            yield from number(key, name, stated[key], computed[key], unit, share)
        for key, name in _WITHOUT_UNIT.items():
            least = LEAST_SHARE if key == "p_outside" else LEAST_SHARE * abs(_float(stated[key]))
            yield from number(key, name, stated[key], computed[key], "", least)
        known, again = stated["repeatability"], computed["repeatability"]
        yield from number("s", "repeatability", known["s"], again["s"], unit, share)
        least = LEAST_SHARE * _float(known["nu"])
        yield from number("nu", "ν of the repeatability", known["nu"], again["nu"], "", least)
        yield from _word(where, "basis of the repeatability", known["basis"], again["basis"])
        if not withheld:
            for key, name in (("kind", "way to U"), ("seed", "seed"), ("trials", "trials")):
                yield from _word(where, name, answers[0].get(key), answers[1].get(key))
            for key, name in _ANSWER.items():
                yield from number(key, name, answers[0].get(key), answers[1].get(key), unit, share)
        split, other = stated["split"], computed["split"]
        if (split is None) != (other is None):
            yield Difference(
                where=where, what="sensor and loop apart", stated=_whether(split), computed=_whether(other)
            )
        elif split is not None:
            for key, name in _SPLIT.items():
                yield from number(key, name, split[key], other[key], unit, share)
            for key, name in _SPLIT_WITHOUT_UNIT.items():
                yield from number(key, name, split[key], other[key], "", LEAST_SHARE * abs(_float(split[key])))

    def _hysteresis(
        self, group: Mapping[str, Any], stated: Mapping[str, Any], computed: Mapping[str, Any]
    ) -> Iterator[Difference]:
        mine, others = ({h["target"]: h for h in one["hysteresis"]} for one in (stated, computed))
        for target in sorted(mine.keys() | others.keys()):
            one, other = mine.get(target), others.get(target)
            where = f"{self._where(group, None)} at {target:g} %RH"
            if one is None or other is None:
                if not (one is None and self.held_apart):
                    yield Difference(where=where, what="hysteresis", stated=_whether(one), computed=_whether(other))
                continue
            U = _float(one["U"])
            for key, name in (("width", "hysteresis"), ("U", "U of the hysteresis")):
                yield from _number(where, name, one[key], other[key], group["unit"], U, LEAST_SHARE * U)

    def _decision(self, *, judged: bool) -> Iterator[Difference]:
        """The rule; its sentences only where the verdicts that they sum up are the same."""
        stated, computed = self.stated["decision"], self.computed["decision"]
        if stated is None or computed is None:
            yield from _word("conformity", "decision", _whether(stated), _whether(computed))
            return
        yield from _others(stated, computed, "conformity")
        for key, name in _DECISION.items():
            yield from _word("conformity", name, stated[key], computed[key])
        known = [set(rules.values()) & self.apart_from for rules in self.rules]
        if not judged and not self.held_apart and not any(known):
            yield from _word("conformity", "summary", _summed(stated["summary"]), _summed(computed["summary"]))


def _scatter(answers: tuple[Mapping[str, Any], Mapping[str, Any]], U: float) -> float:
    """Share of U by which two Monte Carlo answers of one distribution differ at most; 0 where none was drawn.

    The standard error of the 97.725 % quantile of a normal distribution, which √(p(1−p)/M) divided by the density gives
    (order statistics), twice over for two answers; trials M are those of the smaller one.
    """
    trials = [answer.get("trials") for answer in answers]
    if any(not isinstance(count, int) or count < 1 for count in trials) or not U > 0:
        return 0.0
    p, density, quantile = 0.97725, 0.05399, 2.0
    error = math.sqrt(p * (1 - p) / min(count for count in trials if isinstance(count, int))) / density
    return MONTE_CARLO_SPREAD * math.sqrt(2.0) * error / quantile


def _number(
    where: str, what: str, stated: Any, computed: Any, unit: str, U: float, least: float
) -> Iterator[Difference]:
    one, other = _float(stated), _float(computed)
    if what.startswith("ν"):
        one, other, least = min(one, MANY), min(other, MANY), min(least, LEAST_SHARE * MANY)
    if (math.isnan(one) and math.isnan(other)) or one == other:
        return
    if not abs(one - other) <= least:
        mine, others = (None if math.isnan(value) else value for value in (one, other))
        yield Difference(where=where, what=what, stated=mine, computed=others, unit=unit, U=U)


def _word(where: str, what: str, stated: Any, computed: Any) -> Iterator[Difference]:
    if stated != computed:
        yield Difference(where=where, what=what, stated=_leaf(stated), computed=_leaf(computed))


def _leaf(value: Any) -> Value:
    if isinstance(value, float):
        return f"{value:g}"
    return value if value is None or isinstance(value, str) else str(value)


def _tolerance(group: Mapping[str, Any]) -> str | None:
    tolerance = group["tolerance"]
    if tolerance is None:
        return None
    since = f", in force from {tolerance['from']}" if tolerance["from"] else ""
    return f"{tolerance['words']}{since}"


def _whether(value: object) -> str | None:
    return None if value is None else "given"


def _float(value: Any) -> float:
    return math.nan if value is None else float(value)


def _text(value: Value) -> str:
    if value is None:
        return "none"
    return f"“{value}”" if isinstance(value, str) else significant(value, 6)


def _signed(text: str) -> str:
    return text if text.startswith("−") else f"+{text}"
