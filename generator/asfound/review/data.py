"""A review as JSON, for programs: numbers at 10 significant digits, null where there is none."""

from __future__ import annotations

import json
from typing import Any

from asfound.assessment.results.table import Result
from asfound.faults import Fault
from asfound.review.assessed_side import Standing
from asfound.review.meaning import Pair
from asfound.review.report import Review
from asfound.rounding import json_number

_NUMBERS = ("target", "reference_value", "error", "u", "k", "U", "tolerance", "p_outside")


def as_json(review: Review, prefix: str) -> str:
    """The review; `prefix`: what stands before the path of a record."""
    meaning, change = review.meaning, review.change
    document: dict[str, Any] = {
        "base": change.base,
        "head": change.head,
        "day": str(review.day),
        "fails": review.fails,
        "errors": [_fault(fault, prefix) for fault in review.errors],
        "broken_rules": [_fault(fault, prefix) for fault in review.broken],
        "failing_reservations": [_fault(fault, prefix) for fault in review.failing],
        "records": [
            {
                "path": f"{prefix}{record.path}",
                "kind": record.kind,
                "settings": [
                    {"line": one.place.line, "key": one.key, "before": one.before, "after": one.after}
                    for one in record.settings
                ],
            }
            for record in review.records
        ],
        "altered_in_branch": [
            {
                "path": f"{prefix}{edit.path}",
                "commit": edit.commit,
                "author": edit.author,
                "day": edit.day,
                "alterations": [
                    {
                        "line": one.place.line,
                        "row": one.row,
                        "column": one.column,
                        "before": one.before,
                        "after": one.after,
                    }
                    for one in edit.alterations
                ],
            }
            for edit in review.edits
        ],
    }
    if meaning is not None:
        document["reviewers"] = [
            {
                "name": one.trailer.name,
                "email": one.trailer.email,
                "commit": one.commit.commit,
                "counts": not one.refused,
                "why_not": one.refused,
            }
            for one in review.reviewers
        ]
        causes = review.causes or ((),) * len(meaning.moved)
        document |= {
            "new_results": [_result(result) for result in meaning.new],
            "revised_results": [_pair(pair) for pair in meaning.revised],
            "changed_results": [
                _pair(pair) | {"causes": list(why)} for pair, why in zip(meaning.moved, causes, strict=True)
            ],
            "sensors": [
                {"sensor": one.sensor, "before": _standing(one.before), "after": _standing(one.after)}
                for one in meaning.standings
            ],
            "findings_opened": [{"sensor": case.sensor, "visit": case.visit} for case in meaning.opened],
            "findings_dropped": [{"sensor": case.sensor, "visit": case.visit} for case in meaning.dropped],
            "new_reservations": [_fault(one.fault, prefix) for one in meaning.reservations],
            "issued": [one.number for one in review.issued],
            "disagreeing": [
                {"number": one.issued.number, "causes": [cause.kind for cause in one.causes]}
                for one in review.disagreements
            ],
        }
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def _fault(fault: Fault, prefix: str) -> dict[str, Any]:
    place = fault.place
    return {
        "rule": fault.rule.name,
        "path": f"{prefix}{place.path}",
        "line": place.line,
        "column": place.column,
        "message": fault.message,
        "cure": fault.cure,
    }


def _result(result: Result) -> dict[str, Any]:
    return {
        "visit": result.visit,
        "sensor": result.sensor,
        "channel": result.channel.value,
        "plateau": result.plateau,
        "phase": result.phase,
        "unit": result.unit,
        **{name: json_number(getattr(result, name)) for name in _NUMBERS},
        "verdict": result.verdict.value,
        "rule": result.rule,
        "status": result.status,
        "reservations": [fault.rule.name for fault in result.reservations],
    }


def _pair(pair: Pair) -> dict[str, Any]:
    return {
        "before": _result(pair.before) if pair.before is not None else None,
        "after": _result(pair.after) if pair.after is not None else None,
    }


def _standing(standing: Standing | None) -> dict[str, Any] | None:
    if standing is None:
        return None
    day = standing.due.day
    return {"state": standing.state.value, "due": str(day) if day else None, "due_state": standing.due.state.value}
