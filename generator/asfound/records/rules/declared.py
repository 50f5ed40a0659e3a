"""What a reference must declare of itself: a source of uncertainty that nobody names counts as zero."""

from __future__ import annotations

from collections.abc import Iterator

from asfound.faults import Fault, reservation
from asfound.records.methods import METHODS
from asfound.records.models.references import Reference
from asfound.records.rules.survey import RuleAcross, Survey

NOT_DECLARED = reservation("not-declared", "a reference does not say how large one of its usual errors may be")


def sources_not_declared(survey: Survey) -> Iterator[Fault]:
    """A small U is earned by knowing the sources, not by leaving them out."""
    for name, reference in survey.records.references.items():
        silent = list(_silent(reference))
        if silent:
            message = f"not declared, so counted as none: {'; '.join(silent)}"
            cure = (
                "declare each from a measurement, a certificate or the manual; write 0 with its unit where it is none"
            )
            yield survey.fault(NOT_DECLARED, f"references/{name}.yml", ("kind",), message, cure)


def _silent(reference: Reference) -> Iterator[str]:
    usual = METHODS[reference.kind].usual_sources if reference.kind in METHODS else ()
    yield from (key for key in usual if getattr(reference, key) is None)
    without = [name for name, known in reference.quantities.items() if known.calibrations[-1].drift is None]
    if without:
        yield f"drift since the newest calibration of {', '.join(without)}"


RULES: tuple[RuleAcross, ...] = (sources_not_declared,)
