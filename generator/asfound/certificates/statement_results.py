"""What a certificate states of each result: rows by phase and channel, reservations by mark, verdicts in a sentence."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from asfound.assessment.assess import Assessment
from asfound.assessment.results.adjustment import hysteresis
from asfound.assessment.results.conformity import Verdict, stated_probability
from asfound.assessment.results.table import Result
from asfound.certificates import wording as words
from asfound.faults import Fault
from asfound.measurement.cell_sources import Part
from asfound.records.models import Channel, Policy, Reference
from asfound.records.models.stated import Number, as_float
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.rows import SensorVisit
from asfound.rounding import published
from asfound.stated.results import (
    Decision,
    Group,
    LinearAnswer,
    MonteCarloAnswer,
    Reservation,
    Row,
    RowRepeatability,
    Split,
    StatedHysteresis,
    StatedTolerance,
    WithheldAnswer,
)
from asfound.wording.words import way as way_in_words

PartLines = Mapping[tuple[int, Channel, Part], int]
"""(cell, channel, part) → row in the budgets"""


def number(value: float) -> Number:
    """A number as a statement holds it, free of processors' last bits: None where there is none."""
    text = published(float(value))
    if text.endswith("inf"):
        return "-inf" if text.startswith("-") else "inf"
    return float(text) if text else None


def withheld(result: Result) -> bool:
    """Whether a reservation withholds the certificate from this result."""
    return any(f.rule.withholds_certificate for f in result.reservations)


def part_lines(assessment: Assessment) -> PartLines:
    """Where the budget of each part of each plateau stands."""
    lines = assessment.measurement.lines
    return {(line.cell, line.channel, line.part): number for number, line in enumerate(lines)}


def point(result: Result) -> str:
    """A plateau as people name it: its target, and the direction where the humidity went somewhere."""
    return f"{result.target:g} %RH" + ("" if result.direction == "start" else f" {result.direction}")


@dataclass
class Reservations:
    """Reservations by rule, each with the mark by which rows name it."""

    by_rule: dict[str, list[tuple[Fault, str]]] = field(default_factory=dict)

    def marks(self, faults: Iterable[Fault], where: str) -> tuple[str, ...]:
        """The marks of a row's reservations; `where` names the row."""
        rules = []
        for fault in faults:
            said = self.by_rule.setdefault(fault.rule.name, [])
            if (fault, where) not in said:
                said.append((fault, where))
            rules.append(fault.rule.name)
        names = list(self.by_rule)
        return tuple(_mark(names.index(name)) for name in dict.fromkeys(rules))

    def qualifying(self, row: Row) -> dict[str, str]:
        """Mark and words of the reservations under which a row's verdict stands: those that do not withhold it."""
        found = {}
        for position, said in enumerate(self.by_rule.values()):
            rule, messages = said[0][0].rule, dict.fromkeys(fault.message for fault, _ in said)
            if _mark(position) in row.reservations and not (rule.withholds_verdict or rule.withholds_certificate):
                found[_mark(position)] = next(iter(messages)) if len(messages) == 1 else rule.summary
        return found if row.verdict != words.NO_VERDICT else {}

    def listed(self) -> tuple[Reservation, ...]:
        """Each with its mark, what it withholds, and its words."""
        return tuple(
            Reservation(
                mark=_mark(position),
                rule=name,
                withholds_verdict=said[0][0].rule.withholds_verdict,
                withholds_certificate=said[0][0].rule.withholds_certificate,
                words=_joined_messages(said),
            )
            for position, (name, said) in enumerate(self.by_rule.items())
        )


def _mark(position: int) -> str:
    """The mark of a position: a, b, … z, aa, ab, and so on."""
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
    parts: PartLines,
) -> tuple[Group, ...]:
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
                Group(
                    phase=phase,
                    phase_words=words.PHASES[phase],
                    channel=channel,
                    unit=channel.unit,
                    tolerance=_tolerance(settings, reference, channel, phase),
                    rows=tuple(_row(assessment, sensor_visit, r, reservations, parts) for r in chosen),
                    hysteresis=tuple(
                        StatedHysteresis(target=number(h.target), width=number(h.width), U=number(h.U)) for h in widths
                    ),
                )
            )
    return tuple(found)


def _tolerance(
    settings: SettingsOn | None, reference: Reference | None, channel: Channel, phase: str
) -> StatedTolerance | None:
    """Of a sensor its tolerance; of a reference that is checked between calibrations its check limit."""
    if settings is None:
        limit = reference.check_limit if reference and (channel, phase) == (Channel.HUMIDITY, "check") else None
        return StatedTolerance(words=words.check_limit(limit.humidity), from_=None) if limit else None
    limits = settings.tolerance(channel, phase)
    if limits is None:
        return None
    return StatedTolerance(
        words=words.tolerance(limits, channel.unit, settings.range(channel)),
        from_=words.first_day(limits.from_),
    )


def _row(
    assessment: Assessment, sensor_visit: SensorVisit, r: Result, reservations: Reservations, parts: PartLines
) -> Row:
    """A row; where a reservation withholds the certificate from it, without what would be certified: U and verdict."""
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
        "p_outside": stated_probability(r.p_outside),
        "tur": r.tur,
        "settling_correction": r.settling_correction,
    }
    if withheld(r):
        numbers |= dict.fromkeys(("u", "nu_eff", "k", "U", "p_outside", "tur"), math.nan)
    stated = {name: number(value) for name, value in numbers.items()}
    row = Row(
        plateau=r.plateau,
        time=sensor_visit.visit.time_local[plateau.rows[0]],
        target=number(r.target),
        direction=r.direction,
        method=r.method,
        reference=r.reference,
        part=r.part.value,
        readings=r.n,
        **stated,  # type: ignore[arg-type]  # numbers all, and `one_way` is none of them
        repeatability=RowRepeatability(
            s=number(line.repeatability.s), nu=number(line.repeatability.nu), basis=line.repeatability.basis
        ),
        answer=WithheldAnswer(kind="withheld") if withheld(r) else _answer(assessment, r.line),
        split=None if math.isnan(r.error_loop) else _split(assessment, r, parts),
        verdict=words.NO_VERDICT if withheld(r) else r.verdict.value,
        reservations=reservations.marks(r.reservations, point(r)),
    )
    return row.model_copy(update={"one_way": r.one_way}) if r.one_way else row


def _answer(assessment: Assessment, line: int) -> LinearAnswer | MonteCarloAnswer:
    """Which answer gave U."""
    drawn = assessment.answers.get(line)
    if drawn is None:
        return LinearAnswer(kind="linear")
    return MonteCarloAnswer(
        kind="monte carlo",
        seed=str(drawn.seed),
        trials=drawn.trials,
        low=number(drawn.low),
        high=number(drawn.high),
    )


def _split(assessment: Assessment, r: Result, parts: PartLines) -> Split:
    """Sensor and loop apart: the linear budgets' U and k."""
    assert r.line is not None
    line, k = assessment.measurement.lines[r.line], assessment.measurement.whole().k
    numbers = {
        "sensor_indication": r.output,
        "sensor_error": r.error_sensor,
        "sensor_U": r.U_sensor,
        "sensor_k": float(k[parts[line.cell, line.channel, Part.SENSOR]]),
        "loop_error": r.error_loop,
        "loop_U": r.U_loop,
        "loop_k": float(k[parts[line.cell, line.channel, Part.LOOP]]),
    }
    if withheld(r):
        numbers |= dict.fromkeys(("sensor_U", "sensor_k", "loop_U", "loop_k"), math.nan)
    return Split(**{name: number(value) for name, value in numbers.items()})


def decision(
    policy: Policy, rule_words: str, stated: Sequence[Group], reservations: Reservations, of_reference: bool
) -> Decision | None:
    """The rule, and what it says of each group in a sentence; nothing where no tolerance is declared."""
    judged = [group for group in stated if group.tolerance]
    if not judged:
        return None
    return Decision(
        rule=policy.rule,
        from_=words.first_day(policy.from_),
        guard_band=policy.guard_band if policy.rule == "guard_band" else None,
        largest_risk=policy.largest_risk if policy.rule == "specific_risk" else None,
        largest_u_over_t=policy.largest_u_over_t if policy.rule == "simple_acceptance" else None,
        words=rule_words,
        tolerance=words.REFERENCE_TOLERANCE if of_reference else words.SENSOR_TOLERANCE,
        summary=tuple(_summary(group, reservations) for group in judged),
    )


def _summary(group: Group, reservations: Reservations) -> str:
    """`Humidity, as found: pass at all 3 points.`, or verdict by verdict; with the reservations that qualify it."""
    head = f"{group.channel.capitalize()}, {group.phase_words.lower()}"
    by_verdict: dict[str, list[str]] = {}
    for row in group.rows:
        way = "" if row.direction == "start" else f" {way_in_words(row.direction, row.one_way)}"
        by_verdict.setdefault(row.verdict, []).append(f"{as_float(row.target):g}{way}")
    order = [verdict.value for verdict in Verdict]
    present = sorted(by_verdict, key=order.index)
    qualifying = {mark: said for row in group.rows for mark, said in reservations.qualifying(row).items()}
    if len(present) == 1 and len(group.rows) > 1:
        text = f"{present[0]} at all {len(group.rows)} points"
        text += ", each as approached" if any(row.one_way for row in group.rows) else ""
    else:
        text = "; ".join(f"{verdict} at {', '.join(by_verdict[verdict])} %RH" for verdict in present)
    with_them = ", ".join(f"{mark} ({said})" for mark, said in qualifying.items())
    if with_them:
        text += f", with reservation{'s' if len(qualifying) > 1 else ''} {with_them}"
    return f"{head}: {text}."
