"""A statement as the strings that stand on the certificate's pages: rounded, with units, nothing invisible in them.

Typesetting gets strings, and lists and dicts of them, only. U has two significant digits and a value the last digit of
its U (JCGM 100:2008, 7.2.6).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from asfound.certificates import wording as words
from asfound.printing.text import NO_BREAK, PAPERS, clean
from asfound.records.models.stated import Replaces, as_float
from asfound.rounding import MINUS, NOTHING, expanded, fixed, value_with
from asfound.stated.results import Decision, Group, MonteCarloAnswer, Reservation, Row
from asfound.stated.statement import PREVIEW_REVISION, Adjustment, Condition, Item, Statement
from asfound.stated.traceability import CalibrationLink
from asfound.wording.words import way as way_in_words

Section = Mapping[str, Any]
"""a title, lines and tables, as the template sets them"""
Pair = list[str]
"""label and text"""

MANY = 1000.0
"""Degrees of freedom from which more of them make no difference to k."""
ONE_PAGE = 25
"""Lines of results that leave room on the first page: the second then begins with how they are known."""
MONTE_CARLO = "M"
_NEGATIVE = re.compile(r"(?<![\w.-])-(?=\d)")
_PARTS = {"total": "at the far end", "sensor": "at the sensor", "loop": "of the loop"}
_SHOWN_UNIT = {"Pa": ("kPa", 1e-3)}


def page(statement: Statement) -> dict[str, Any]:
    """What the template sets, from the statement alone."""
    preview = statement.revision == PREVIEW_REVISION
    item = statement.item
    year, month, day = statement.issued.isoformat().split("-")
    method = statement.method
    sections = list(_sections(statement))
    whole = {
        "paper": PAPERS[statement.paper],
        "mark": words.PREVIEW if preview else "",
        "warning": words.PREVIEW_WARNING if preview else "",
        "title": statement.title,
        "number": statement.number,
        "replaces": _replaces(statement.replaces),
        "laboratory": statement.laboratory,
        "subject": f"{item.id}, {item.name}, serial number {item.serial}",
        "running": f"{item.id}, serial number {item.serial}",
        "date": {"year": year, "month": month, "day": day},
        "item": _item(item),
        "circumstances": _circumstances(statement),
        "basis": statement.words.basis,
        "conformity": _conformity(statement.decision),
        "sections": sections,
        "short": "yes" if _lines(sections) + _lines_around(statement) <= ONE_PAGE else "",
        "reservations": [[r.mark, _reservation(r)] for r in statement.reservations],
        "remarks": [*statement.deviations, *statement.remarks],
        "method": [
            f"{method.procedure}, version {method.version}; measured {' and '.join(method.media)}.",
            *method.principles,
        ],
        "conditions": [_condition(c) for c in statement.conditions],
        "references": list(_references(statement.traceability)),
        "salts": statement.words.salts or "",
        "coverage": statement.words.coverage,
        "small_print": [statement.words.scope, statement.words.reproduction],
        "signatures": _signatures(statement),
        "evidence": _evidence(statement),
        "address": statement.page.address or "",
        "end": f"End of {'record' if statement.title == words.CHECK_TITLE else 'certificate'} {statement.number}",
    }
    return {key: clean(value) for key, value in whole.items()}


def _replaces(replaces: Replaces | None) -> str:
    """A re-issue names what it replaces and says why (ISO/IEC 17025:2017, 7.8.8; clause from memory)."""
    if replaces is None:
        return ""
    return f"Replaces certificate {replaces.number}. {_sentence('reason: ' + replaces.reason)}"


def _item(item: Item) -> list[Pair]:
    pairs = [
        ["Item", f"{item.id}, {item.name}"],
        ["Model", item.model_name if item.kind == "sensor" else f"{item.kind}, {item.model_name}"],
        ["Serial number", item.serial],
    ]
    seen = [serial for serial in item.serial_seen if serial != item.serial]
    if seen:
        pairs.append(["Serial as seen", ", ".join(seen)])
    pairs.append(["Condition as seen", ", ".join(item.condition) or "not recorded"])
    if item.signals:
        several = len(item.signals) > 1
        shown = [f"{s.words} ({s.channel})" if several else s.words for s in item.signals]
        pairs.append(["Signal", "; ".join(map(_minus, shown))])
    return pairs


def _circumstances(statement: Statement) -> list[Pair]:
    first, last = statement.calibrated.first, statement.calibrated.last
    place, facility = statement.place, statement.facility
    parts = [place.name, place.building, place.position, facility.name, facility.address]
    where = ", ".join(dict.fromkeys(part for part in parts if part))
    pairs = [["Customer", statement.customer]]
    if place.id:
        pairs += [["Measuring position", where], ["Place of calibration", statement.words.place]]
    else:
        pairs.append(["Place of calibration", where])
    pairs += [
        ["Date of calibration", f"{first}" if first == last else f"{first} to {last}"],
        ["Date of issue", statement.issued.isoformat()],
    ]
    if statement.due:
        pairs.append(["Due, as agreed", statement.due.isoformat()])
    return pairs


def _conformity(decision: Decision | None) -> dict[str, Any]:
    if decision is None:
        return {"summary": ["No tolerance is declared for the item: nothing is said about conformity."], "rule": ""}
    since = f", in force from {decision.from_}" if decision.from_ else ""
    return {
        "summary": [_minus(sentence) for sentence in decision.summary],
        "rule": f"Decision rule{since}: {decision.words}. {decision.tolerance}, U the expanded uncertainty.",
    }


def _reservation(reservation: Reservation) -> str:
    text = _minus(_sentence(reservation.words))
    if reservation.withholds_certificate:
        return f"{text} Neither U nor verdict is given."
    if reservation.withholds_verdict:
        return f"{text} No verdict is given."
    return text


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _minus(text: str) -> str:
    return _NEGATIVE.sub(MINUS, text)


def _sections(statement: Statement) -> Iterator[dict[str, Any]]:
    """The work in its order: as found, adjustments, as left; each with its tables."""
    adjustments = [_adjustment(event) for event in statement.adjustments]
    loops = {signal.channel for signal in statement.item.signals}
    for phase in words.PHASES:
        groups = [group for group in statement.results if group.phase == phase]
        if phase == "as_left" and adjustments:
            yield {"title": "Adjustment", "lines": adjustments, "tables": []}
            adjustments = []
        if groups:
            tables = [table for group in groups for table in _tables(group, statement.decision, group.channel in loops)]
            yield {"title": words.PHASES[phase], "lines": [], "tables": tables}
    if adjustments:
        yield {"title": "Adjustment", "lines": adjustments, "tables": []}


def _lines(sections: Sequence[Section]) -> int:
    """About how many lines the results take: rows, and for each table its title, note and head."""
    return sum(len(s["lines"]) + sum(len(table["rows"]) + 3 for table in s["tables"]) for s in sections)


def _lines_around(statement: Statement) -> int:
    """About how many lines the reservations take, and the place of calibration beyond its usual words."""
    reservations = sum(1 + len(reservation.words) // 120 for reservation in statement.reservations)
    return reservations + 2 * bool(reservations) + (len(statement.words.place) - len(words.place([], None))) // 40


def _adjustment(event: Adjustment) -> str:
    change = ""
    if event.from_ or event.to:
        change = f": from {event.from_ or NOTHING} to {event.to or NOTHING}"
    note = f" ({event.note})" if event.note else ""
    return _minus(f"{event.time}: {event.words}{change}{note}.")


def _tables(group: Group, decision: Decision | None, loop: bool) -> Iterator[dict[str, Any]]:
    """The group's results, and its sensor and loop apart; `loop`: the channel's signal is a current or a voltage."""
    rows = group.rows
    judged = group.tolerance is not None
    risk = judged and decision is not None and decision.rule == "specific_risk"
    humidity = group.channel == "humidity"
    columns = ["Point", "Direction", "Reference", "Indication", "Error", "U", "k", "ν"]
    columns[3:3] = ["at °C"] if humidity else []
    columns += ["±T"] if judged else []
    columns += ["P(outside)"] if risk else []
    columns += ["Verdict"] if judged else []
    cells = []
    for row in rows:
        U = as_float(row.U)
        line = [
            f"{as_float(row.target):g} %RH",
            way_in_words(row.direction, row.one_way),
            value_with(as_float(row.reference_value), U),
            *([fixed(as_float(row.temperature_c), 1)] if humidity else []),
            value_with(as_float(row.indication), U),
            value_with(as_float(row.error), U, sign=True),
            expanded(U),
            fixed(as_float(row.k), 2),
            _freedom(row),
        ]
        line += [value_with(as_float(row.tolerance), U)] if judged else []
        line += [_probability(as_float(row.p_outside))] if risk else []
        line += [row.verdict] if judged else []
        line.append(" ".join([MONTE_CARLO] * _drawn(row) + sorted(row.reservations, key=lambda m: (len(m), m))))
        cells.append(line)
    yield {
        "title": f"{group.channel.capitalize()}, values in {group.unit}",
        "columns": [*columns, "Note"],
        "text": ["Point", "Direction", "Verdict"],
        "rows": cells,
        "note": _note(group, loop),
    }
    if any(row.split for row in rows):
        yield _split_table(group, loop)


def _drawn(row: Row) -> bool:
    return isinstance(row.answer, MonteCarloAnswer)


def _freedom(row: Row) -> str:
    """ν, where it made k."""
    nu = as_float(row.nu_eff)
    if _drawn(row):
        return NOTHING
    if nu >= MANY:
        return "∞" if math.isinf(nu) else f"> {MANY:g}"
    return fixed(nu, 1 if nu < 100 else 0)


def _probability(p: float) -> str:
    if math.isnan(p):
        return NOTHING
    return "< 0.01 %" if p < 1e-4 else f"{fixed(100 * p, 2)} %"


def _rounded_apart(row: Row) -> bool:
    """Whether the error as printed is not the difference of indication and reference value as printed."""
    U = as_float(row.U)
    shown = [value_with(as_float(value), U) for value in (row.indication, row.reference_value, row.error)]
    if NOTHING in shown or row.settling_correction:
        return False
    indication, reference, error = (Decimal(text.replace(MINUS, "-")) for text in shown)
    return indication - reference != error


def _note(group: Group, loop: bool) -> str:
    """What the table needs said, in one paragraph."""
    rows = group.rows
    total = _PARTS["total"] + (" of the loop" if loop else "")
    parts = " or ".join(dict.fromkeys({**_PARTS, "total": total}[row.part] for row in rows))
    counts = sorted({row.readings for row in rows})
    many = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
    readings = "one reading a point" if counts == [1] else f"means of {many} readings"
    said = [f"Indication {parts}, {readings}."]
    if any(map(_rounded_apart, rows)):
        said.append("Reference, indication and error are rounded separately.")
    if group.tolerance:
        since = f", in force from {group.tolerance.from_}" if group.tolerance.from_ else ""
        said.append(f"Tolerance T: {group.tolerance.words}{since}.")
    widths = []
    for h in group.hysteresis:
        width, U = as_float(h.width), as_float(h.U)
        widths.append(f"{value_with(width, U, sign=True)} at {as_float(h.target):g} %RH (U = {expanded(U)})")
    if widths:
        said.append(f"Hysteresis, error falling − error rising, in {group.unit}: {'; '.join(widths)}.")
    return " ".join(said)


def _split_table(group: Group, loop: bool) -> dict[str, Any]:
    behind = "loop" if loop else "far end"
    cells = []
    for row in group.rows:
        split = row.split
        if split is None:
            continue
        sensor_U, loop_U = as_float(split.sensor_U), as_float(split.loop_U)
        cells.append(
            [
                f"{as_float(row.target):g} %RH",
                row.direction,
                value_with(as_float(split.sensor_indication), sensor_U),
                value_with(as_float(split.sensor_error), sensor_U, sign=True),
                expanded(sensor_U),
                fixed(as_float(split.sensor_k), 2),
                value_with(as_float(split.loop_error), loop_U, sign=True),
                expanded(loop_U),
                fixed(as_float(split.loop_k), 2),
            ]
        )
    return {
        "title": f"{group.channel.capitalize()}: sensor and {behind} apart, values in {group.unit}",
        "columns": [
            "Point",
            "Direction",
            "Shown at sensor",
            "Error of sensor",
            "U of sensor",
            "k",
            "Error of loop" if loop else "Far end − sensor",
            f"U of {'loop' if loop else 'difference'}",
            "k",
        ],
        "text": ["Point", "Direction"],
        "rows": cells,
        "note": "U with its own k, by the linear budget.",
    }


def _condition(condition: Condition) -> Pair:
    unit, scale = _SHOWN_UNIT.get(condition.unit, (condition.unit, 1.0))
    numbers = condition.mean, condition.lowest, condition.highest
    mean, low, high = (fixed(as_float(number) * scale, 1) for number in numbers)
    span = "" if low == high else f" ({low} to {high})"
    return [condition.quantity.capitalize(), f"{mean} {unit}{span}"]


def _references(links: Sequence[CalibrationLink]) -> Iterator[dict[str, Any]]:
    """The links by reference standard, each with its rows."""
    by_reference: dict[tuple[str, str], list[CalibrationLink]] = {}
    for link in links:
        by_reference.setdefault((link.reference, link.serves or ""), []).append(link)
    for (name, serves), mine in by_reference.items():
        first = mine[0]
        role = f"; calibrated {serves}" if serves else ""
        yield {
            "title": f"{name}, {first.name}, serial number {first.serial}{role}",
            "rows": [_reference_row(link) for link in mine],
        }


def _reference_row(link: CalibrationLink) -> list[str]:
    by = f"{link.laboratory}, {link.certificate}"
    if link.from_visit:
        own = f"certificate not issued, {link.reference}/{link.from_visit}"
        issued = f"certificate {link.certificate_number}"
        by = f"calibrated here, {issued if link.certificate_issued else own}"
    return [link.quantity.replace("_", " "), by, f"{link.date}", f"{link.valid_until}", _reference_U(link)]


def _reference_U(link: CalibrationLink) -> str:
    unit, scale = _SHOWN_UNIT.get(link.unit, (link.unit, 1.0))
    low, high = as_float(link.lowest_U) * scale, as_float(link.highest_U) * scale
    size = expanded(low) if expanded(low) == expanded(high) else f"{expanded(low)} to {expanded(high)}"
    k = [f"{as_float(factor):.3g}" for factor in (link.lowest_k, link.highest_k)]
    factor = f"k = {k[0]}" if k[0] == k[1] else f"k = {k[0]} to {k[1]}"
    return f"{size} {unit}, {factor.replace(' ', NO_BREAK)}"


def _signatures(statement: Statement) -> list[Pair]:
    names = ", ".join(person.name for person in statement.technicians) or "not recorded"
    return [["Calibrated by", names], ["Authorised by", statement.authorised.words]]


def _evidence(statement: Statement) -> list[Pair]:
    evidence = statement.evidence
    return [
        ["Record", f"{evidence.visit}, revision {evidence.revision}"],
        ["SHA-256", evidence.sha256],
        *([["Commit", evidence.commit]] if evidence.commit else []),
        ["Attached", ", ".join(attachment_names(statement))],
        ["Computed with", f"asfound {evidence.code}"],
    ]


def attachment_names(statement: Statement) -> tuple[str, str]:
    """Names of the files inside the PDF: the visit's record, and the statement."""
    return statement.evidence.visit.rpartition("/")[2], statement.file_name
