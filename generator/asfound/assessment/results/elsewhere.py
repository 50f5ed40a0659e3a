"""Results that another laboratory stated: as it stated them, with U at the coverage of ours."""

from __future__ import annotations

import math

from asfound.assessment.results.conformity import Verdict, judge
from asfound.assessment.results.judging import Tolerances
from asfound.assessment.results.slots import Slot
from asfound.faults import Fault, Rule, reservation
from asfound.rounding import significant
from asfound.uncertainty.sources import coverage_factor, freedom_from_k

CONVERTED_COVERAGE = reservation(
    "converted-coverage", "another laboratory's U was stated with another coverage, and is converted to 95.45 %"
)
COVERAGE_NOT_STATED = reservation(
    "coverage-not-stated",
    "another laboratory's U has neither k nor ν beside it: there is no verdict, and histories take half of it for u",
)
ASSUMED_K = 2.0
"""What is taken for k where none is stated, in drift lines alone (our choice)."""
SAME_COVERAGE = 0.01
"""Coverage factors that differ by less than this share are one and the same, as they are printed (our choice)."""


def as_stated(slot: Slot) -> dict[str, object]:
    """By column, what is known of a result that another laboratory stated.

    u = U/k by the k that it states, else by that of its degrees of freedom; without degrees of freedom k implies them.
    U is that u at 95.45 %. Where neither k nor ν is stated U stays as it is, and nothing is judged by it.
    """
    number, row = slot.sensor_visit.visit.number, slot.plateau.rows[0]
    error, stated_U, k, nu = (float(number[f"stated_{name}"][row]) for name in ("error", "U", "k", "nu"))
    reference_value = float(number["stated_reference"][row])
    tolerance = Tolerances().at(slot, reference_value)
    found: dict[str, object] = {
        "method": "stated",
        "answer": "stated",
        "reference_value": reference_value,
        "error": error,
        "error_sensor": error,
        "tolerance": tolerance,
    }
    if math.isnan(k) and math.isnan(nu):
        u = stated_U / ASSUMED_K
        message = f"neither k nor ν is stated for U = {_size(stated_U)}: no verdict; drift lines take u = {_size(u)}"
        held = _fault(
            COVERAGE_NOT_STATED, slot, message, "copy k or ν from its certificate into the row, if it has one"
        )
        unknown = {"k": math.nan, "p_outside": math.nan, "tur": math.nan}
        verdicts = {"verdict": Verdict.NONE, "other_way": Verdict.NONE}
        return found | unknown | verdicts | {"u": u, "nu_eff": math.inf, "U": stated_U, "reservations": (held,)}
    nu = freedom_from_k(k) if math.isnan(nu) else nu
    of_ours = float(coverage_factor(nu))
    k = of_ours if math.isnan(k) else k
    u, U = stated_U / k, stated_U
    reservations: tuple[Fault, ...] = ()
    if abs(of_ours / k - 1.0) > SAME_COVERAGE:
        U = of_ours * u
        message = f"U = {_size(stated_U)} with k = {k:g} is {_size(U)} at 95.45 %"
        cure = "nothing, if k is what the certificate states; correct it in a later revision otherwise"
        k, reservations = of_ours, (_fault(CONVERTED_COVERAGE, slot, message, cure),)
    judged = judge(slot.policy, error, u, nu, U, tolerance)
    return found | {
        "u": u,
        "nu_eff": nu,
        "k": k,
        "U": U,
        "verdict": judged.verdict,
        "other_way": judged.verdict,
        "p_outside": judged.p_outside,
        "tur": judged.tur,
        "reservations": reservations,
    }


def _size(humidity: float) -> str:
    return f"{significant(humidity, 2)} %RH"


def _fault(rule: Rule, slot: Slot, message: str, cure: str) -> Fault:
    place = slot.sensor_visit.visit.place(slot.plateau.rows[0], "stated_U")
    return Fault(rule=rule, place=place, message=message, cure=cure)
