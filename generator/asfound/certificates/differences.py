"""What two statements of one certificate say differently: the issued one, and what is computed now.

Numbers differ where |Δ| > 1e-6·U; Monte Carlo answers only beyond the scatter of two answers of so many trials. Every
other word differs where it is not the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Any

from asfound.certificates import wording as words
from asfound.certificates.compared_values import (
    LEAST_SHARE,
    Difference,
    document_differences,
    number_differences,
    whether_given,
    word_differences,
)
from asfound.records.models.stated import Stated, as_float
from asfound.stated.results import Group, MonteCarloAnswer, Row, WithheldAnswer
from asfound.stated.statement import Statement, document

MONTE_CARLO_SPREAD = 5.0
"""Standard deviations by which two Monte Carlo answers from the same inputs may differ (our choice)."""
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
    "from_": "first day of the rule",
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
    {"schema_", "number", "sensor", "visit", "revision", "replaces", "issued", "authorised", "evidence"}
    | {"results", "decision", "reservations"}
)
"""what makes it an issued certificate, and what is compared by itself; all else follows from the records too"""


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
    beside = document(computed, without=_NOT_BESIDE)
    found = [
        difference
        for key, value in document(stated, without=_NOT_BESIDE).items()
        for difference in document_differences(value, beside.get(key), key, key)
    ]
    mine, others = ({r.rule: document(r) for r in one.reservations} for one in (stated, computed))
    if set(mine) & set(apart_from):  # what it withholds may be the only result of its kind
        found = [difference for difference in found if difference.what != "coverage"]
    for rule in mine.keys() & others.keys() - set(apart_from):
        for key in ("words", "withholds_verdict", "withholds_certificate"):
            found += document_differences(mine[rule][key], others[rule][key], f"reservation {rule}", key)
    return tuple(found)


def _others(stated: Stated, computed: Stated, where: str) -> Iterator[Difference]:
    """Of groups, rows and decision what is not compared by name."""
    others = stated.model_fields_set - _COMPARED
    if others:
        yield from document_differences(document(stated, only=others), document(computed, only=others), where, "")


_Numbers = Callable[[str, str, Any, Any, str, float], Iterator[Difference]]
"""Compares two numbers: key, name, both, their unit, and the least that counts."""


class _Comparison:
    """Two statements of one certificate, compared."""

    def __init__(self, stated: Statement, computed: Statement, apart_from: frozenset[str]) -> None:
        self.stated, self.computed, self.apart_from = stated, computed, apart_from
        self.rules = [{r.mark: r.rule for r in one.reservations} for one in (stated, computed)]
        self.channels = {group.channel for group in stated.results}
        self.held_apart = False
        """whether a result is withheld by what `computed` cannot know"""

    def all(self) -> Iterator[Difference]:
        mine, others = (
            {(group.phase, group.channel): group for group in one.results} for one in (self.stated, self.computed)
        )
        found = [
            difference
            for key in dict.fromkeys([*mine, *others])
            for difference in self._group(mine.get(key), others.get(key))
        ]
        yield from found
        yield from self._decision(judged=any(d.what in ("verdict", "result", "reservation") for d in found))

    def _group(self, stated: Group | None, computed: Group | None) -> Iterator[Difference]:
        group = stated or computed
        assert group is not None
        rows, others = ({row.plateau: row for row in one.rows} if one else {} for one in (stated, computed))
        for plateau in sorted(rows.keys() | others.keys()):
            row, other = rows.get(plateau), others.get(plateau)
            where = self._where(group, row or other)
            if row is None or other is None:
                yield Difference(where=where, what="result", stated=whether_given(row), computed=whether_given(other))
            else:
                yield from self._row(where, group.unit, row, other)
        if stated and computed:
            where = self._where(group, None)
            yield from _others(stated, computed, where)
            yield from word_differences(where, "unit", stated.unit, computed.unit)
            yield from word_differences(where, "tolerance", _tolerance(stated), _tolerance(computed))
            yield from self._hysteresis(group, stated, computed)

    def _where(self, group: Group, row: Row | None) -> str:
        phase = words.PHASES.get(group.phase, group.phase).lower()
        if row is None:
            return f"{phase}, {group.channel}"
        at = f"{as_float(row.target):g} %RH" if row.target is not None else f"plateau {row.plateau}"
        way = "" if row.direction == "start" else f" {row.direction}"
        several = len(self.channels) > 1 or group.channel != "humidity"
        channel = f"{group.channel} at " if several else ""
        return f"{phase}, {channel}{at}{way}"

    def _row(self, where: str, unit: str, stated: Row, computed: Row) -> Iterator[Difference]:
        rules, others = (
            frozenset(known.get(mark, mark) for mark in row.reservations)
            for known, row in zip(self.rules, (stated, computed), strict=True)
        )
        for rule in sorted((rules ^ others) - self.apart_from):
            one, other = (rule if rule in held else None for held in (rules, others))
            yield Difference(where=where, what="reservation", stated=one, computed=other)
        withheld = self._withheld_apart(stated, rules)
        for key, name in _OF_ROW.items():
            if not (withheld and key == "verdict"):
                yield from word_differences(where, name, getattr(stated, key), getattr(computed, key))
        yield from _others(stated, computed, where)
        yield from self._numbers(where, unit, stated, computed, withheld=withheld)

    def _withheld_apart(self, stated: Row, rules: frozenset[str]) -> bool:
        """Whether the row has no U because of a reservation that `computed` cannot know."""
        apart = isinstance(stated.answer, WithheldAnswer) and bool(rules & self.apart_from)
        self.held_apart |= apart
        return apart

    def _numbers(self, where: str, unit: str, stated: Row, computed: Row, *, withheld: bool) -> Iterator[Difference]:
        U = as_float(stated.U) if stated.U is not None else as_float(computed.U)
        drawn = _scatter([a.trials for a in (stated.answer, computed.answer) if isinstance(a, MonteCarloAnswer)], U)

        def number(key: str, name: str, one: Any, other: Any, in_unit: str, least: float) -> Iterator[Difference]:
            if withheld and one is None:
                return
            if drawn and key in _DRAWN:
                least = max(least, drawn * (U if in_unit else abs(as_float(one)) if key != "p_outside" else 1.0))
            yield from number_differences(where, name, one, other, in_unit, U, least)

        share = LEAST_SHARE * U if U > 0 else 1e-9
        for key, name, own in (("target", "target", "%RH"), ("temperature_c", "temperature", "degC")):
            yield from number(key, name, getattr(stated, key), getattr(computed, key), own, LEAST_SHARE)
        for key, name in _IN_UNIT.items():
            yield from number(key, name, getattr(stated, key), getattr(computed, key), unit, share)
        for key, name in _WITHOUT_UNIT.items():
            least = LEAST_SHARE if key == "p_outside" else LEAST_SHARE * abs(as_float(getattr(stated, key)))
            yield from number(key, name, getattr(stated, key), getattr(computed, key), "", least)
        scatter, now = stated.repeatability, computed.repeatability
        yield from number("s", "repeatability", scatter.s, now.s, unit, share)
        least = LEAST_SHARE * as_float(scatter.nu)
        yield from number("nu", "ν of the repeatability", scatter.nu, now.nu, "", least)
        yield from word_differences(where, "basis of the repeatability", scatter.basis, now.basis)
        if not withheld:
            yield from self._answers(where, unit, stated, computed, number, share)
        yield from self._splits(where, unit, stated, computed, number, share)

    @staticmethod
    def _answers(
        where: str, unit: str, stated: Row, computed: Row, number: _Numbers, share: float
    ) -> Iterator[Difference]:
        """How U was come by, and what belongs to that way."""
        answers = stated.answer, computed.answer
        for key, name in (("kind", "way to U"), ("seed", "seed"), ("trials", "trials")):
            yield from word_differences(where, name, *(getattr(answer, key, None) for answer in answers))
        for key, name in _ANSWER.items():
            one, again = (getattr(answer, key, None) for answer in answers)
            yield from number(key, name, one, again, unit, share)

    @staticmethod
    def _splits(
        where: str, unit: str, stated: Row, computed: Row, number: _Numbers, share: float
    ) -> Iterator[Difference]:
        """Sensor and loop apart."""
        split, other = stated.split, computed.split
        if split is None or other is None:
            given = whether_given(split), whether_given(other)
            yield from word_differences(where, "sensor and loop apart", *given)
            return
        for key, name in _SPLIT.items():
            yield from number(key, name, getattr(split, key), getattr(other, key), unit, share)
        for key, name in _SPLIT_WITHOUT_UNIT.items():
            least = LEAST_SHARE * abs(as_float(getattr(split, key)))
            yield from number(key, name, getattr(split, key), getattr(other, key), "", least)

    def _hysteresis(self, group: Group, stated: Group, computed: Group) -> Iterator[Difference]:
        mine, others = ({as_float(h.target): h for h in one.hysteresis} for one in (stated, computed))
        for target in sorted(mine.keys() | others.keys()):
            one, other = mine.get(target), others.get(target)
            where = f"{self._where(group, None)} at {target:g} %RH"
            if one is None or other is None:
                if not (one is None and self.held_apart):
                    yield Difference(
                        where=where, what="hysteresis", stated=whether_given(one), computed=whether_given(other)
                    )
                continue
            U = as_float(one.U)
            for key, name in (("width", "hysteresis"), ("U", "U of the hysteresis")):
                yield from number_differences(
                    where, name, getattr(one, key), getattr(other, key), group.unit, U, LEAST_SHARE * U
                )

    def _decision(self, *, judged: bool) -> Iterator[Difference]:
        """The rule; its sentences only where the verdicts that they sum up are the same."""
        stated, computed = self.stated.decision, self.computed.decision
        if stated is None or computed is None:
            yield from word_differences("conformity", "decision", whether_given(stated), whether_given(computed))
            return
        yield from _others(stated, computed, "conformity")
        for key, name in _DECISION.items():
            yield from word_differences("conformity", name, getattr(stated, key), getattr(computed, key))
        known = [set(rules.values()) & self.apart_from for rules in self.rules]
        if not judged and not self.held_apart and not any(known):
            yield from word_differences("conformity", "summary", "; ".join(stated.summary), "; ".join(computed.summary))


def _scatter(trials: Sequence[int], U: float) -> float:
    """Share of U by which two Monte Carlo answers of one distribution differ at most; 0 where one was not drawn.

    The standard error of the 97.725 % quantile of a normal distribution, which √(p(1−p)/M) divided by the density gives
    (order statistics), twice over for two answers; trials M are those of the smaller one.
    """
    if len(trials) < 2 or not U > 0:
        return 0.0
    p, density, quantile = 0.97725, 0.05399, 2.0
    error = math.sqrt(p * (1 - p) / min(trials)) / density
    return MONTE_CARLO_SPREAD * math.sqrt(2.0) * error / quantile


def _tolerance(group: Group) -> str | None:
    tolerance = group.tolerance
    if tolerance is None:
        return None
    since = f", in force from {tolerance.from_}" if tolerance.from_ else ""
    return f"{tolerance.words}{since}"
