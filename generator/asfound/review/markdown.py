"""A review as Markdown for a pull request, to be read on a phone: the verdict first, short tables, details folded."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from asfound.faults import Fault
from asfound.records.visits.visit_files import NAME
from asfound.review.changes import Change
from asfound.review.edits import RecordChange
from asfound.review.markup import MOST, code, folded, more, some, text
from asfound.review.report import Review
from asfound.review.results_text import moved, new_results, revised, standings
from asfound.wording import words

GLYPH_YES, GLYPH_NO = "✓", "–"
FEW = 5
"""Certificates that are listed at once."""
LONGEST = 60_000
"""Characters that forges take in a comment, with some to spare."""
_BLANK_LINES = re.compile(r"\n{3,}")


def as_markdown(review: Review, prefix: str) -> str:
    """The whole comment; `prefix`: what stands before the path of a record."""
    lines = [*_head(review), *_failures(review, prefix)]
    if review.meaning is not None:
        lines += [*new_results(review.meaning), *_findings(review)]
    lines += _edits(review, prefix)
    if review.meaning is not None:
        lines += [*standings(review.meaning), *revised(review.meaning), *moved(review.meaning, review.causes)]
    lines += _settings(review, prefix)
    if review.meaning is not None:
        lines += [*_reservations(review, prefix), *_certificates(review)]
    return _cut(_BLANK_LINES.sub("\n\n", "\n".join(lines)).rstrip() + "\n", review.change)


def _cut(said: str, change: Change) -> str:
    """The comment as far as a forge takes it, with what was opened closed again."""
    if len(said) <= LONGEST:
        return said
    kept = said[:LONGEST].rpartition("\n")[0]
    closing = "</details>\n\n" * (kept.count("<details") - kept.count("</details>"))
    whole = code(f"asfound review {change.base[:10]} {change.head[:10]} --json")
    return f"{kept}\n\n{closing}**Cut here: this is too long for a comment.** All of it: {whole}\n"


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
    names = [name for name in map(NAME.fullmatch, change.added) if name and name[3] > str(review.day)]
    if names:
        later = text(words.listed(dict.fromkeys(name[2] for name in names)))
        lines += [f"Visits dated after {review.day}, so not assessed yet: {later}.", ""]
    return [*lines, *_reviewers(review)]


def _reviewers(review: Review) -> list[str]:
    """Whom the commits name; awaiting approval fails nothing."""
    lines = []
    for one in review.reviewers:
        name = f"{text(one.trailer.name)} (`Reviewed-by` in {code(one.commit.commit[:10])})"
        lines.append(f"- {GLYPH_NO} {name} does not count: {one.refused}" if one.refused else f"- {GLYPH_YES} {name}")
    brings = any(path.startswith("visits/") for path in (*review.change.added, *review.change.edited))
    if brings and all(one.refused for one in review.reviewers):
        lines.append("- not reviewed yet: its results show as such, and pools and certificates wait")
    return [*dict.fromkeys(lines), ""] if lines else []


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
        told = [f"    - line {one.place.line}: {text(one.sentence)}" for one in edit.alterations]
        lines += [*told[:MOST], *([f"    - and {len(told) - MOST} more"] if len(told) > MOST else [])]
    return [*lines, *more(review.edits, "edits"), ""]


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
    for found in review.disagreements:
        number, differing = text(found.issued.number), words.counted(len(found.differences), "difference")
        causes = text("; ".join(f"{cause.kind}: {cause.words}" for cause in found.causes))
        lines.append(f"- ≈ no longer agrees: **{number}**, {differing}; {causes}<br>*Cure:* {code(found.cure)}")
    lines = some(lines, MOST, "certificates that no longer agree")
    contradicted = {found.issued.path for found in review.disagreements}
    issued = []
    for one in review.issued:
        replaces = one.head.replaces
        why = f", replaces {text(replaces.number)}: {text(replaces.reason)}" if replaces else ""
        agrees = "≈ contradicted" if one.path in contradicted else "✓ agrees"
        who = text(one.head.authorised.name)
        issued.append(f"- {agrees}: **{text(one.number)}** of {one.day}, authorised by {who}{why}")
    if issued:
        counted = f"{words.counted(len(issued), 'new certificate')}, compared with what is computed here"
        lines += folded(counted, [*some(issued, MOST, "certificates"), ""], opened=len(issued) <= FEW)
    return ["### Certificates", "", *lines, ""] if lines else []
