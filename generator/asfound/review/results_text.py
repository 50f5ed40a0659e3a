"""Results, states and due dates of a review as Markdown."""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Sequence
from itertools import groupby

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.assessment.standing import State
from asfound.review.markup import MOST, folded, more, some, table, text
from asfound.review.meaning import Meaning, Pair, StandingChange, differs
from asfound.rounding import NOTHING
from asfound.site.views.results import worst
from asfound.terminal.tables import GLYPHS
from asfound.wording import words

STATE_GLYPHS = {State.OUT: "✗", State.CLOSE: "≈", State.IN: "✓", State.NONE: "–", State.NEVER: "–"}


def new_results(meaning: Meaning) -> list[str]:
    """Results of visits that the base does not have: by sensor and visit, the gravest first, passes folded."""
    if not meaning.new:
        return []
    lines = ["### New results", ""]
    parts = [list(part) for _, part in groupby(meaning.new, key=lambda r: (r.visit, r.sensor))]
    parts.sort(key=lambda part: _GRAVITY.get(_gravest(part), 9))
    for part in parts[:MOST]:
        lines += _part(part)
    if len(parts) > MOST:
        lines += [f"and {len(parts) - MOST} more sensors, none graver", ""]
    rules = dict.fromkeys(r.rule for r in meaning.new if r.has_verdict)
    return [*lines, *(f"*Rule:* {text(rule)}" for rule in rules), ""]


_GRAVITY = {
    verdict: number
    for number, verdict in enumerate(
        (
            Verdict.FAIL,
            Verdict.CONDITIONAL_FAIL,
            Verdict.UNDECIDED,
            Verdict.CONDITIONAL_PASS,
            Verdict.NONE,
            Verdict.PASS,
        )
    )
}


def _gravest(results: Sequence[Result]) -> Verdict:
    judged = [r for r in results if r.has_verdict]
    return worst(judged).verdict if judged else Verdict.NONE


def _part(results: Sequence[Result]) -> list[str]:
    """One sensor at one visit: as left where it was adjusted, else as found, in the line that is always seen."""
    first = results[0]
    last = [r for r in results if r.phase == "as_left" and r.has_verdict] or list(results)
    verdicts = {
        phase: _gravest([r for r in results if r.phase == phase]) for phase in dict.fromkeys(r.phase for r in results)
    }
    said = ", ".join(f"{GLYPHS[v]} {v} {words.phase(phase)}" for phase, v in verdicts.items())
    summary = f"<b>{html.escape(first.sensor)}</b> at {html.escape(first.visit)}: {said}"
    rows = [
        (_where(r), f"{words.error_with_u(r)} {words.unit(r.unit)}", words.tolerance(r), _verdict(r)) for r in results
    ]
    body = table(("point", "error ± U", "tolerance", "verdict"), rows)
    references = words.listed(dict.fromkeys(r.reference for r in results if r.reference))
    body += [f"Serial {text(first.serial)}; reference {text(references) or NOTHING}.", ""]
    return folded(summary, body, opened=_gravest(last) is not Verdict.PASS or _gravest(results) is not Verdict.PASS)


def _where(r: Result) -> str:
    channel = "" if r.channel.value == "humidity" else f"{r.channel.value}, "
    way = "" if r.direction == "start" else f" {r.direction}"
    return f"{channel}{words.point(r)}{way}, {words.phase(r.phase)}"


def _verdict(r: Result | None) -> str:
    if r is None:
        return f"{NOTHING} none"
    return f"{GLYPHS[r.verdict]} {r.verdict if r.status != 'not done' else 'not done'}"


def revised(meaning: Meaning) -> list[str]:
    """Results of visits whose files the change touches."""
    if not meaning.revised:
        return []
    pairs = meaning.revised
    said = f"{words.counted(len(pairs), 'result')}; {_verdicts_change(sum(pair.verdict_changed for pair in pairs))}."
    body = [*_pairs(pairs), *more(pairs, "results"), ""]
    return ["### Results of visits on record that get another file", "", said, "", *body]


def moved(meaning: Meaning, causes: Sequence[Sequence[str]]) -> list[str]:
    """Results of visits that the change leaves as they are, and why they are other; `causes`: of each."""
    if not meaning.moved:
        return []
    pairs, verdicts = meaning.moved, [pair for pair in meaning.moved if pair.verdict_changed]
    visits = words.counted(len({pair.either.visit for pair in pairs}), "visit")
    said = f"{words.counted(len(pairs), 'result')} of {visits}; {_verdicts_change(len(verdicts))}."
    lines = ["### Numbers of old visits that change", "", said, ""]
    counts = Counter(cause for of_one in causes for cause in of_one)
    told = [f"- because of {text(why)}: {words.counted(number, 'result')}" for why, number in counts.most_common()]
    lines += [*some(told, MOST, "causes"), ""]
    if verdicts:
        lines += [*_pairs(verdicts), *more(verdicts, "verdicts"), ""]
    others = [pair for pair in pairs if not pair.verdict_changed]
    if others:
        title = f"{words.counted(len(others), 'result')} with the same verdict, the largest moves first"
        lines += folded(title, [*_pairs(others), *more(others, "results"), ""])
    return lines


def _verdicts_change(number: int) -> str:
    return f"{words.counted(number, 'verdict')} {words.verb('change', number)}" if number else "no verdict changes"


def _pairs(pairs: Sequence[Pair]) -> list[str]:
    """The largest moves first."""
    shown = sorted(pairs, key=lambda pair: -pair.size)[:MOST]
    return table(("sensor and visit", "point", "what is other", "verdict"), map(_pair_row, shown))


def _pair_row(pair: Pair) -> tuple[str, str, str, str]:
    r = pair.either
    verdicts = dict.fromkeys((_verdict(pair.before), _verdict(pair.after)))
    return f"{text(r.sensor)} at {text(r.visit)}", _where(r), "<br>".join(_other(pair)), " → ".join(verdicts)


def _other(pair: Pair) -> list[str]:
    """What of a result is other, in words."""
    before, after = pair.before, pair.after
    if before is None or after is None:
        return [f"error {_size(before)} → {_size(after)}"]
    symbol = words.unit(after.unit)
    found = []
    if differs(before, after, ("error", "U")):
        one, other = words.error_with_u(before), words.error_with_u(after)
        told = f"{one} → {other} {symbol}" if one != other else f"{other} {symbol}, by {words.digits(pair.size, 2)} U"
        found.append(f"error {told}")
    tolerances = dict.fromkeys((words.tolerance(before), words.tolerance(after)))
    if len(tolerances) > 1:  # a share of the reading moves with it, unseen
        found.append(f"tolerance {' → '.join(tolerances)} {symbol}")
    for name in ("rule", "status", "serial", "part", "revision"):
        if getattr(before, name) != getattr(after, name):
            words_of = [text(str(getattr(one, name))) for one in (before, after)]
            found.append("another rule" if name == "rule" else f"{name} {' → '.join(words_of)}")
    if not found and differs(before, after, ("reference_value",)):
        found.append("the reference value, with the error as it was")
    return found or ["k, or the probability to be outside"]


def _size(r: Result | None) -> str:
    return f"{words.error_with_u(r)} {words.unit(r.unit)}" if r is not None else NOTHING


def standings(meaning: Meaning) -> list[str]:
    """States and due dates that change."""
    states = [one for one in meaning.standings if one.state]
    dues = [one for one in meaning.standings if one.due]
    lines = []
    if states:
        lines += ["### States of sensors that change", ""]
        lines += [
            *table(("sensor", "before", "after"), [_state_row(one) for one in states[:MOST]]),
            *more(states, "sensors"),
            "",
        ]
    if dues:
        lines += ["### Due dates that change", ""]
        lines += [
            *table(("sensor", "before", "after"), [_due_row(one) for one in dues[:MOST]]),
            *more(dues, "sensors"),
            "",
        ]
    return lines


def _state_row(one: StandingChange) -> tuple[str, str, str]:
    said = [f"{STATE_GLYPHS[s.state]} {s.state}" if s else "not on record" for s in (one.before, one.after)]
    return text(one.sensor), said[0], said[1]


def _due_row(one: StandingChange) -> tuple[str, str, str]:
    said = []
    for standing in (one.before, one.after):
        day = f"{standing.due.day}, " if standing and standing.due.day else ""
        said.append(f"{day}{standing.due.state}" if standing else "not on record")
    return text(one.sensor), said[0], said[1]
