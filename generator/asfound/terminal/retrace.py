"""`retrace`: what is asked for, read from the command line, and what a retrace found, as text and for programs."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from asfound.assessment.findings.cases import Case
from asfound.assessment.results.table import Result
from asfound.faults import did_you_mean, in_order
from asfound.measurement.shifts import Shift, constant
from asfound.records.load import Records
from asfound.records.methods import kind_of
from asfound.refusals import Refusal
from asfound.retrace.retrace import CERTIFICATE_SHARE, Moved, Retrace
from asfound.rounding import MINUS, NOTHING, expanded, json_number, significant, value_with
from asfound.terminal.tables import aligned
from asfound.units import CANONICAL, UnitError, amount, symbols
from asfound.wording.words import counted, verb

_NUMBER = re.compile(r"^([\d.,]+(?:[eE][+-]?\d+)?)\s*(?=\S)")
"""The number that an amount begins with; its unit may have been typed right against it."""

PARTS = {"error": "", "error_sensor": "sensor alone", "error_loop": "loop alone"}


@dataclass(frozen=True, kw_only=True)
class Question:
    """A reference that was wrong: on which days, and by how much."""

    reference: str
    since: date
    until: date | None
    errors: tuple[tuple[str, str, float], ...]
    """quantity, the error as it was written, and in the canonical unit"""

    @property
    def shifts(self) -> tuple[Shift, ...]:
        """As the assessment takes them."""
        return tuple(constant(self.reference, name, self.since, self.until, size) for name, _, size in self.errors)


def question(
    records: Records, reference: str, errors: Sequence[str], since: date, until: date | None, day: date
) -> Question:
    """What was asked, e.g. `GEN-01`, [`saturation_temperature=+0.15 degC`].

    Raises Refusal for a reference, quantity, unit or day that makes no sense.
    """
    known = records.references.get(reference)
    if known is None:
        hint = did_you_mean(reference, records.references)
        raise Refusal(f"there is no reference {reference!r}", f"give the id of a file in references/{hint}")
    if until is not None and until < since:
        raise Refusal(f"--until {until} lies before --since {since}", "check the two days")
    if since > day:
        raise Refusal(f"--since {since} lies after the day of assessment, {day}", "check the days")
    read = [_error(reference, tuple(known.calibrated), text) for text in errors]
    names = [name for name, _, _ in read]
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise Refusal(f"--shift gives {twice} twice", "give the error of each quantity once")
    return Question(reference=reference, since=since, until=until, errors=tuple(read))


def _error(reference: str, quantities: Sequence[str], text: str) -> tuple[str, str, float]:
    name, equals, size = (part.strip() for part in text.partition("="))
    if not equals or not size:
        example = f"{quantities[0]}=+0.1 {symbols(kind_of(quantities[0]))[0]}"
        raise Refusal(f"--shift {text!r} is no QUANTITY=ERROR", f"write e.g. --shift '{example}'")
    if "=" in size:
        raise Refusal(f"--shift {text!r} gives several errors", "write --shift once for each quantity")
    if name not in quantities:
        hint = did_you_mean(name, quantities)
        raise Refusal(f"{reference} has no quantity {name!r}", f"use one of {', '.join(quantities)}{hint}")
    try:
        return name, size, amount(size, kind_of(name), difference=True)
    except UnitError as problem:
        raise Refusal(f"--shift {name}: {problem}", problem.cure) from None


def as_text(asked: Question, found: Retrace) -> str:
    """The whole as lines for a terminal: what it comes to, what to do, then every result that moves."""
    blocks = [[*_asked(asked), _sum_up(found)]]
    if found.verdicts:
        blocks.append(["verdicts that change", *_table(found.verdicts)])
    if found.recalls:
        blocks.append(
            [
                "sensors to recall: the newest results leave them no longer in tolerance",
                *(f"  {change.sensor}: {change.before} → {change.after}" for change in found.recalls),
                "  before one that controls a process is pulled: the process into a safe state, by local rules",
            ]
        )
    better = [change for change in found.states if not change.worse]
    if better:
        blocks.append(
            [
                "other states that change",
                *(f"  {change.sensor}: {change.before} → {change.after}" for change in better),
            ]
        )
    for head, cases in (("findings to open", found.opened), ("findings that fall away", found.dropped)):
        if cases:
            blocks.append([head, *(f"  {_case(case)}" for case in cases)])
    if found.certificates:
        rule = f"another verdict, or an error moved by more than {100 * CERTIFICATE_SHARE:.0f} % of its U"
        blocks.append(
            [
                f"certificates to issue anew, those that have been issued ({rule})",
                *(f"  {sensor} {visit}" for sensor, visit in found.certificates),
            ]
        )
    if found.faults:
        blocks.append(["readings that it would make impossible", *(f"  {told}" for told in _impossible(found))])
    if found.moved:
        blocks.append(["results that move", *_table(found.moved)])
    return "\n\n".join("\n".join(block) for block in blocks)


def _asked(asked: Question) -> Iterator[str]:
    days = f"from {asked.since} on" if asked.until is None else f"from {asked.since} to {asked.until}"
    for name, text, size in asked.errors:
        way = "too high" if size > 0 else "too low" if size < 0 else "as it should"
        shown = _NUMBER.sub(r"\1 ", text.lstrip("+-").strip())
        by = f" by {shown}" if size else ""
        yield f"{asked.reference}: {name.replace('_', ' ')} held to have read {way}{by}, {days}"


def _sum_up(found: Retrace) -> str:
    if not found.moved:
        return "no result moves"
    moved, verdicts, recalls = len(found.moved), len(found.verdicts), len(found.recalls)
    parts = [f"{counted(moved, 'result')} of {counted(len(found.visits), 'visit')} {verb('move', moved)}{_by(found)}"]
    parts.append(f"{counted(verdicts, 'verdict')} {verb('change', verdicts)}" if verdicts else "no verdict changes")
    parts.append(f"{counted(recalls, 'sensor')} to recall" if recalls else "no sensor to recall")
    if found.lost:
        parts.append(f"{counted(len(found.lost), 'result')} left without value or verdict: nothing is known of them")
    return "; ".join(parts)


def _impossible(found: Retrace) -> list[str]:
    """Where a reading contradicts physics, and how: each once."""
    places = ((fault.place, fault.message) for fault in in_order(found.faults))
    return [f"{place.path}:{place.line}:{place.column}: {message}" for place, message in places]


def _by(found: Retrace) -> str:
    largest = found.largest
    if largest is None:
        return ""
    size = f"{significant(abs(largest.change), 2)} {largest.before.unit}"
    return f", by up to {significant(largest.share, 2)} U (there {size})"


def _case(case: Case) -> str:
    return f"{case.sensor} {case.visit}: {_size(case.worst, 'error', 'U')}, {case.direction}"


_COLUMNS = ("visit", "sensor", "plateau", "phase", "channel", "target", "error", "change", "of U", "verdict", "")


def _table(moved: Sequence[Moved]) -> list[str]:
    return aligned([_COLUMNS, *(_row(m) for m in moved)], indent=2)


def _row(m: Moved) -> tuple[str, ...]:
    r, name = m.before, m.part
    U = f"U{name.removeprefix('error')}"
    before = value_with(getattr(r, name), getattr(r, U), sign=True)
    same = m.before.verdict is m.after.verdict
    return (
        r.visit,
        r.sensor,
        str(r.plateau),
        r.phase.replace("_", " "),
        r.channel.value,
        f"{r.target:g} %RH",
        f"{before} → {_size(m.after, name, U)}",
        _signed(m.change),
        significant(m.share, 2),
        str(r.verdict) if same else f"{r.verdict} → {m.after.verdict}",
        PARTS[name],
    )


def _size(r: Result, name: str, U: str) -> str:
    value, uncertainty = float(getattr(r, name)), float(getattr(r, U))
    if math.isnan(value):
        return NOTHING
    return f"{value_with(value, uncertainty, sign=True)} ± {expanded(uncertainty)} {r.unit}"


def _signed(value: float) -> str:
    text = significant(value, 2)
    return text if text.startswith(MINUS) or text == NOTHING else f"+{text}"


def as_json(asked: Question, found: Retrace) -> str:
    """The same for programs: numbers at 10 significant digits, null where there is none."""
    document = {
        "reference": asked.reference,
        "since": str(asked.since),
        "until": str(asked.until) if asked.until else None,
        "errors": [
            {"quantity": name, "error": json_number(size), "unit": CANONICAL[kind_of(name)]}
            for name, _, size in asked.errors
        ],
        "results": [_moved_data(m) for m in found.moved],
        "states": [
            {"sensor": c.sensor, "before": str(c.before), "after": str(c.after), "recall": c.worse}
            for c in found.states
        ],
        "findings": {
            "opened": [{"sensor": c.sensor, "visit": c.visit} for c in found.opened],
            "dropped": [{"sensor": c.sensor, "visit": c.visit} for c in found.dropped],
        },
        "certificates": [{"sensor": sensor, "visit": visit} for sensor, visit in found.certificates],
        "impossible": _impossible(found),
    }
    return json.dumps(document, ensure_ascii=False, indent=2)


def _moved_data(m: Moved) -> dict[str, Any]:
    r = m.before
    return {
        "visit": r.visit,
        "sensor": r.sensor,
        "channel": r.channel.value,
        "plateau": r.plateau,
        "phase": r.phase,
        "target": json_number(r.target),
        "unit": r.unit,
        "part": m.part,
        "change": json_number(m.change),
        "share_of_U": json_number(m.share),
        "before": _result_data(m.before),
        "after": _result_data(m.after),
    }


def _result_data(r: Result) -> dict[str, Any]:
    numbers = ("reference_value", "error", "U", "error_sensor", "U_sensor", "error_loop", "U_loop")
    return {**{name: json_number(getattr(r, name)) for name in numbers}, "verdict": r.verdict.value}
