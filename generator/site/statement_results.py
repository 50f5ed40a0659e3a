"""What a certificate states of each result: rows by phase and channel, reservations by mark, verdicts in a sentence."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from generator.assessment.adjustment import hysteresis
from generator.assessment.assess import Assessment
from generator.assessment.conformity import Verdict
from generator.assessment.result import Result
from generator.faults import Fault
from generator.records.models import Channel, Policy, Reference
from generator.records.rows import SensorVisit
from generator.records.settings import SettingsOn
from generator.rounding import published
from generator.site import certificate_words as words

Group = Mapping[str, Any]
"""the rows of one phase and channel"""


def number(value: float) -> float | str | None:
    """A number as JSON holds it, free of processors' last bits: null where there is none, "inf" where infinite."""
    text = published(float(value))
    return text if text.endswith("inf") else float(text) if text else None


def withheld(result: Result) -> bool:
    """Whether a reservation withholds the certificate from this result."""
    return any(f.rule.withholds_certificate for f in result.reservations)


def point(result: Result) -> str:
    """A plateau as people name it: its target, and the direction where the humidity went somewhere."""
    return f"{result.target:g} %RH" + ("" if result.direction == "start" else f" {result.direction}")


@dataclass
class Reservations:
    """Reservations by rule, each with the mark by which rows name it."""

    by_rule: dict[str, list[tuple[Fault, str]]] = field(default_factory=dict)

    def marks(self, faults: Iterable[Fault], where: str) -> list[str]:
        """The marks of a row's reservations; `where` names the row."""
        rules = []
        for fault in faults:
            said = self.by_rule.setdefault(fault.rule.name, [])
            if (fault, where) not in said:
                said.append((fault, where))
            rules.append(fault.rule.name)
        names = list(self.by_rule)
        return [_mark(names.index(name)) for name in dict.fromkeys(rules)]

    def listed(self) -> list[dict[str, Any]]:
        """Each with its mark, what it withholds, and its words."""
        return [
            {
                "mark": _mark(position),
                "rule": name,
                "withholds_verdict": said[0][0].rule.withholds_verdict,
                "withholds_certificate": said[0][0].rule.withholds_certificate,
                "words": _joined_messages(said),
            }
            for position, (name, said) in enumerate(self.by_rule.items())
        ]


def _mark(position: int) -> str:
    """a, b, … z, aa, ab, …"""
    head, tail = divmod(position, 26)
    return (_mark(head - 1) if head else "") + chr(ord("a") + tail)


def _joined_messages(said: Sequence[tuple[Fault, str]]) -> str:
    messages: dict[str, list[str]] = {}
    for fault, where in said:
        places = messages.setdefault(fault.message, [])
        if where not in places:
            places.append(where)
    if len(messages) == 1:
        return next(iter(messages))
    parts = [f"{message} ({', '.join(places)})" for message, places in messages.items()]
    return f"{said[0][0].rule.summary}: {'; '.join(parts)}"


def groups(
    assessment: Assessment,
    sensor_visit: SensorVisit,
    settings: SettingsOn | None,
    results: Sequence[Result],
    reservations: Reservations,
) -> list[Group]:
    """The results by phase and channel, in order of the work; `settings` None: a reference was calibrated."""
    reference = assessment.records.references.get(sensor_visit.sensor)
    found: list[Group] = []
    for phase in words.PHASES:
        for channel in Channel:
            chosen = [r for r in results if (r.phase, r.channel) == (phase, channel)]
            if not chosen:
                continue
            # Directions are those of the humidity: they say nothing of a thermometer.
            moved = [r for r in chosen if channel is Channel.HUMIDITY and not withheld(r)]
            widths = hysteresis(moved, assessment.measurement.whole())
            found.append(
                {
                    "phase": phase,
                    "phase_words": words.PHASES[phase],
                    "channel": channel.value,
                    "unit": channel.unit,
                    "tolerance": _tolerance(settings, reference, channel, phase),
                    "rows": [_row(assessment, sensor_visit, r, reservations) for r in chosen],
                    "hysteresis": [
                        {"target": number(h.target), "width": number(h.width), "U": number(h.U)} for h in widths
                    ],
                }
            )
    return found


def _tolerance(
    settings: SettingsOn | None, reference: Reference | None, channel: Channel, phase: str
) -> dict[str, Any] | None:
    """Of a sensor its tolerance; of a reference that is checked between calibrations its check limit."""
    if settings is None:
        limit = reference.check_limit if reference and (channel, phase) == (Channel.HUMIDITY, "check") else None
        return {"words": words.check_limit(limit.humidity), "from": None} if limit else None
    limits = settings.tolerance(channel, phase)
    if limits is None:
        return None
    return {
        "words": words.tolerance(limits, channel.unit, settings.range(channel)),
        "from": words.first_day(limits.from_),
    }


def _row(assessment: Assessment, sensor_visit: SensorVisit, r: Result, reservations: Reservations) -> dict[str, Any]:
    assert r.line is not None
    line = assessment.measurement.lines[r.line]
    plateau = sensor_visit.plateaus[r.plateau - 1]
    numbers = {
        "temperature_c": r.temperature_c,
        "reference_value": r.reference_value,
        "indication": line.indication,
        "error": r.error,
        "u": r.u,
        "nu_eff": r.nu_eff,
        "k": r.k,
        "U": r.U,
        "tolerance": r.tolerance,
        "p_outside": r.p_outside,
        "tur": r.tur,
        "settling_correction": r.settling_correction,
    }
    return {
        "plateau": r.plateau,
        "time": sensor_visit.visit.time_local[plateau.rows[0]],
        "target": number(r.target),
        "direction": r.direction,
        "method": r.method,
        "reference": r.reference,
        "part": r.part.value,
        "readings": r.n,
        **{name: number(value) for name, value in numbers.items()},
        "repeatability": {
            "s": number(line.repeatability.s),
            "nu": number(line.repeatability.nu),
            "basis": line.repeatability.basis,
        },
        "answer": _answer(assessment, r.line),
        "split": None if math.isnan(r.error_loop) else _split(r),
        "verdict": words.NO_VERDICT if withheld(r) else r.verdict.value,
        "reservations": reservations.marks(r.reservations, point(r)),
    }


def _answer(assessment: Assessment, line: int) -> dict[str, Any]:
    """Which answer gave U; a seed is text, since it is longer than the numbers that some programs read from JSON."""
    drawn = assessment.answers.get(line)
    if drawn is None:
        return {"kind": "linear"}
    return {
        "kind": "monte carlo",
        "seed": str(drawn.seed),
        "trials": drawn.trials,
        "low": number(drawn.low),
        "high": number(drawn.high),
    }


def _split(r: Result) -> dict[str, Any]:
    return {
        "sensor_indication": number(r.output),
        "sensor_error": number(r.error_sensor),
        "sensor_U": number(r.U_sensor),
        "loop_error": number(r.error_loop),
        "loop_U": number(r.U_loop),
    }


def decision(policy: Policy, rule_words: str, stated: Sequence[Group]) -> dict[str, Any] | None:
    """The rule, and what it says of each group in a sentence; nothing where no tolerance is declared."""
    judged = [group for group in stated if group["tolerance"]]
    if not judged:
        return None
    return {
        "rule": policy.rule,
        "from": words.first_day(policy.from_),
        "guard_band": policy.guard_band if policy.rule == "guard_band" else None,
        "largest_risk": policy.largest_risk if policy.rule == "specific_risk" else None,
        "largest_u_over_t": policy.largest_u_over_t if policy.rule == "simple_acceptance" else None,
        "words": rule_words,
        "summary": [_summary(group) for group in judged],
    }


def _summary(group: Group) -> str:
    """`Humidity, as found: pass at all 3 points.`, or verdict by verdict with its points."""
    head = f"{group['channel'].capitalize()}, {group['phase_words'].lower()}"
    by_verdict: dict[str, list[str]] = {}
    for row in group["rows"]:
        way = "" if row["direction"] == "start" else f" {row['direction']}"
        by_verdict.setdefault(row["verdict"], []).append(f"{row['target']:g}{way}")
    order = [verdict.value for verdict in Verdict]
    present = sorted(by_verdict, key=order.index)
    if len(present) == 1 and len(group["rows"]) > 1:
        return f"{head}: {present[0]} at all {len(group['rows'])} points."
    return f"{head}: " + "; ".join(f"{verdict} at {', '.join(by_verdict[verdict])} %RH" for verdict in present) + "."
