"""A review as Markdown for a pull request, to be read on a phone: the verdict first, short tables, details folded."""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby

from generator.assessment.conformity import Verdict
from generator.assessment.result import Result
from generator.assessment.standing import State
from generator.explain import GLYPHS
from generator.faults import Fault
from generator.review.markup import code, folded, some, table, text
from generator.review.meaning import Meaning, Pair, StandingChange
from generator.review.report import RecordChange, Review
from generator.rounding import NOTHING
from generator.site import words
from generator.site.views.results import worst

MOST = 25
"""Entries of a list or table that are shown; a forge cuts long comments off."""
STATE_GLYPHS = {State.OUT: "✗", State.CLOSE: "≈", State.IN: "✓", State.NONE: "–", State.NEVER: "–"}


def as_markdown(review: Review, prefix: str) -> str:
    """The whole comment; `prefix`: what stands before the path of a record."""
    lines = [*_head(review), *_failures(review, prefix)]
    if review.meaning is not None:
        lines += [*_new_results(review.meaning), *_revised(review.meaning)]
        lines += [*_standings(review.meaning), *_findings(review), *_moved(review)]
    lines += [*_edits(review, prefix), *_settings(review, prefix)]
    if review.meaning is not None:
        lines += [*_reservations(review, prefix), *_certificates(review)]
    return "\n".join(lines).rstrip() + "\n"


def _head(review: Review) -> list[str]:
    change = review.change
    faults = len(review.faults)
    verdict = f"✗ {words.counted(faults, 'reason')} not to merge" if faults else "✓ nothing speaks against a merge"
    counts = Counter(path.partition("/")[0] if "/" in path else path for path in change.paths)
    files = [words.counted(counts.pop("visits", 0), "visit file")] if "visits" in counts else []
    files += [f"{number} in {name}/" if "." not in name else name for name, number in sorted(counts.items())]
    commits = words.counted(len(change.commits), "commit")
    said = f"{commits} since {code(change.base[:10])}: {words.listed(files) or 'no record'}"
    lines = [f"## {verdict}", "", f"{said}. States and due dates are those of {review.day}.", ""]
    if review.meaning is None:
        lines += ["**Nothing is computed while the records hold errors.**", ""]
    elif not any((review.meaning.new, review.meaning.revised, review.meaning.moved)):
        lines += ["No result is new or other.", ""]
    return lines


def _failures(review: Review, prefix: str) -> list[str]:
    if not review.faults:
        return []
    kinds = (
        ("Errors of the records", review.errors),
        ("Broken rules", review.broken),
        ("New reservations that facility.yml admits to no change", review.failing),
    )
    lines = []
    for title, faults in kinds:
        if faults:
            lines += [f"### {title}", "", *some([_fault(f, prefix) for f in faults], MOST, "like these"), ""]
    return lines


def _fault(fault: Fault, prefix: str) -> str:
    at = code(f"{prefix}{fault.place.path}:{fault.place.line}:{fault.place.column}")
    return f"- ✗ **{fault.rule.name}** {at}<br>{text(fault.message)}<br>*Cure:* {text(fault.cure)}"


def _new_results(meaning: Meaning) -> list[str]:
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


def _pair_row(pair: Pair) -> tuple[str, str, str, str]:
    r = pair.either
    before, after = (_size(one) for one in (pair.before, pair.after))
    moved = f"{before} → {after}" if before != after else f"{after}, moved by {words.digits(pair.size, 2)} U"
    verdicts = (_verdict(pair.before), _verdict(pair.after))
    return (
        f"{text(r.sensor)} at {text(r.visit)}",
        _where(r),
        f"{moved} {words.unit(r.unit)}",
        " → ".join(dict.fromkeys(verdicts)),
    )


def _size(r: Result | None) -> str:
    return words.error_with_u(r) if r is not None else NOTHING


_PAIR_HEADER = ("sensor and visit", "point", "error ± U", "verdict")


def _revised(meaning: Meaning) -> list[str]:
    if not meaning.revised:
        return []
    pairs = sorted(meaning.revised, key=lambda pair: not pair.verdict_changed)
    body = table(_PAIR_HEADER, map(_pair_row, pairs[:MOST]))
    return ["### Results that another revision replaces", "", *body, *_more(pairs, "results"), ""]


def _more(items: Sequence[object], what: str) -> list[str]:
    return [f"and {len(items) - MOST} more {what}"] if len(items) > MOST else []


def _moved(review: Review) -> list[str]:
    meaning = review.meaning
    if meaning is None or not meaning.moved:
        return []
    moved, verdicts = meaning.moved, [pair for pair in meaning.moved if pair.verdict_changed]
    visits = {pair.either.visit for pair in moved}
    said = f"{words.counted(len(moved), 'result')} of {words.counted(len(visits), 'visit')}"
    changed = (
        f"{words.counted(len(verdicts), 'verdict')} with {'it' if len(moved) == 1 else 'them'}"
        if verdicts
        else "no verdict"
    )
    lines = ["### Numbers of old visits that change", "", f"{said}, and {changed}.", ""]
    counts = Counter(cause for causes in review.causes for cause in causes)
    lines += [
        f"- because of {text(cause)}: {words.counted(number, 'result')}" for cause, number in counts.most_common(MOST)
    ]
    lines.append("")
    if verdicts:
        verdicts.sort(key=lambda pair: -pair.size)
        lines += [*table(_PAIR_HEADER, map(_pair_row, verdicts[:MOST])), *_more(verdicts, "verdicts"), ""]
    others = sorted((pair for pair in moved if not pair.verdict_changed), key=lambda pair: -pair.size)
    if others:
        body = [*table(_PAIR_HEADER, map(_pair_row, others[:MOST])), *_more(others, "results"), ""]
        lines += folded(f"{words.counted(len(others), 'result')} with the same verdict, the largest moves first", body)
    return lines


def _standings(meaning: Meaning) -> list[str]:
    states = [one for one in meaning.standings if one.state]
    dues = [one for one in meaning.standings if one.due]
    lines = []
    if states:
        lines += ["### States of sensors that change", ""]
        lines += [
            *table(("sensor", "before", "after"), [_state_row(one) for one in states[:MOST]]),
            *_more(states, "sensors"),
            "",
        ]
    if dues:
        lines += ["### Due dates that change", ""]
        lines += [
            *table(("sensor", "before", "after"), [_due_row(one) for one in dues[:MOST]]),
            *_more(dues, "sensors"),
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


def _findings(review: Review) -> list[str]:
    meaning = review.meaning
    assert meaning is not None
    lines = []
    for case in meaning.opened:
        who = f"{text(case.record.owner)} has it" if case.record else "nobody has it yet"
        said = f"{text(words.result_sentence(case.worst))}; {case.direction}; {who}"
        lines.append(f"- ✗ opened: {_at(case.sensor, case.visit)}: {said}")
    lines += [f"- no longer out of tolerance: {_at(case.sensor, case.visit)}" for case in meaning.dropped]
    for one in review.findings:
        now, was = one.after, one.before
        if now is None:
            said = "its file is deleted"
        elif now.closed and not (was and was.closed):
            said = f"✓ closed on {now.closed} by {text(now.closed_by or '')}: {text(now.decision or '')}"
        elif was is None:
            said = f"taken up by {text(now.owner)}"
        elif was.closed and not now.closed:
            said = "opened again"
        else:
            said = "edited"
        lines.append(f"- {_at(one.sensor, one.visit)}: {said}")
    return ["### Findings", "", *some(lines, MOST, "findings"), ""] if lines else []


def _at(sensor: str, visit: str) -> str:
    return f"**{text(sensor)}** at {text(visit)}"


def _edits(review: Review, prefix: str) -> list[str]:
    if not review.edits:
        return []
    lines = ["### Readings altered between the commits of this branch", ""]
    for edit in review.edits[:MOST]:
        lines.append(f"- {code(prefix + edit.path)} by {text(edit.author)} on {edit.day} in {code(edit.commit[:10])}:")
        told = [f"  - line {one.place.line}: {text(one.sentence)}" for one in edit.alterations]
        lines += [*told[:MOST], *([f"  - and {len(told) - MOST} more"] if len(told) > MOST else [])]
    return [*lines, *_more(review.edits, "edits"), ""]


def _settings(review: Review, prefix: str) -> list[str]:
    if not review.records:
        return []
    lines: list[str] = []
    for record in review.records:
        lines += _record(record, prefix)
    told = [*lines[: 2 * MOST], *([f"- and {len(lines) - 2 * MOST} more"] if len(lines) > 2 * MOST else [])]
    return ["### Settings that change", "", *told, ""]


def _record(record: RecordChange, prefix: str) -> Iterable[str]:
    if record.kind != "edited":
        return [f"- {code(prefix + record.path)}: {record.kind}"]
    if not record.settings:
        return [f"- {code(prefix + record.path)}: only its layout or comments"]
    if record.path.startswith("findings/"):
        return []
    return [f"- {code(f'{prefix}{record.path}:{one.place.line}')} {text(one.sentence)}" for one in record.settings]


def _reservations(review: Review, prefix: str) -> list[str]:
    assert review.meaning is not None
    failing = {(fault.rule.name, fault.place) for fault in review.failing}
    lines = []
    for one in review.meaning.reservations:
        fault = one.fault
        if (fault.rule.name, fault.place) in failing:
            continue
        at = code(f"{prefix}{fault.place.path}:{fault.place.line}")
        lines.append(f"- **{fault.rule.name}** {at} {text(fault.message)}")
    if not lines:
        return []
    return folded(words.counted(len(lines), "new reservation"), [*some(lines, MOST, "reservations"), ""])


def _certificates(review: Review) -> list[str]:
    lines = []
    for one in review.issued:
        replaces = one.head.replaces
        why = f", replaces {text(replaces.number)}: {text(replaces.reason)}" if replaces else ""
        lines.append(
            f"- issued: **{text(one.number)}** on {one.day}, authorised by {text(one.head.authorised.name)}{why}"
        )
    for found in review.disagreements:
        number, differing = text(found.issued.number), words.counted(len(found.differences), "difference")
        causes = text("; ".join(f"{cause.kind}: {cause.words}" for cause in found.causes))
        lines.append(f"- ≈ no longer agrees: **{number}**, {differing}; {causes}<br>*Cure:* {code(found.cure)}")
    return ["### Certificates", "", *some(lines, MOST, "certificates"), ""] if lines else []
