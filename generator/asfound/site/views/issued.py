"""Issued certificates against what is computed today: on the Data page all of them, on a visit's page its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from asfound.certificates.disagreements import Disagreement, newest
from asfound.records.issued import Issued
from asfound.site.lookup.lookup import Lookup
from asfound.stated.statement import PREVIEW_REVISION
from asfound.wording import words
from asfound.wording.words import ISSUED, PREVIEW, REPLACED, WITHDRAWN, Chip, Link

ANCHOR = "issued"
"""Section of the Data page that lists them."""
MOST_LISTED = 200
"""Certificates that are listed one by one, and differences that are listed of one."""


@dataclass(frozen=True, kw_only=True)
class DisagreementView:
    """One certificate that no longer agrees."""

    number: str
    pdf: Link | None
    visit: Link | None
    count: str
    """how many numbers and words differ"""
    differences: tuple[str, ...]
    more: int
    """differences beyond those listed"""
    causes: tuple[str, ...]
    cure: str


@dataclass(frozen=True, kw_only=True)
class IssuedView:
    """What the Data page says of issued certificates."""

    sentence: str
    disagreements: tuple[DisagreementView, ...]
    more: int
    """certificates beyond those listed"""


@dataclass(frozen=True, kw_only=True)
class CertificateLine:
    """One certificate of a sensor at a visit, or what one would state."""

    link: Link
    chip: Chip
    told: str
    """issued when, by whom, replaced by what and why"""


Certificates = Callable[[str, str], tuple[CertificateLine, ...]]
"""(sensor, visit) → its certificates, the one that counts first"""


def certificate_lines(
    lookup: Lookup, files: Mapping[str, bytes], sensor: str, visit: str
) -> tuple[CertificateLine, ...]:
    """The certificates of a sensor at a visit, newest first, a preview last; `files`: what is published."""
    issued = [one for one in lookup.issued.get((sensor, visit), ()) if certificate_path(one) in files]
    after: dict[int, Issued] = {one.revision - 1: one for one in issued}
    parts = (summary.sensor_visit for summary in lookup.withdrawn.get(sensor, ()))
    withdrawn = next((part.reason for part in parts if part.visit.id == visit), None)
    found = [_line(one, after.get(one.revision), withdrawn) for one in reversed(issued)]
    preview = f"certificates/{sensor}/{visit}.{PREVIEW_REVISION}.pdf"
    if preview in files:
        told = "what would be stated today if it were issued again" if issued else "nothing is issued yet"
        found.append(CertificateLine(link=Link(text="preview, PDF", path=preview), chip=PREVIEW, told=told))
    return tuple(found)


def _line(one: Issued, next_one: Issued | None, withdrawn: str | None) -> CertificateLine:
    """`withdrawn`: why the visit was, which no certificate outlives."""
    told = f"issued on {one.day}, authorised by {one.head.authorised.name}"
    if next_one is not None and next_one.head.replaces is not None:
        told += f"; replaced by r{next_one.revision} on {next_one.day}: {next_one.head.replaces.reason}"
    elif one.head.replaces is not None:
        told += f"; in the place of r{one.revision - 1}: {one.head.replaces.reason}"
    if withdrawn is not None:
        told += f"; the visit was withdrawn since: {withdrawn}"
    chip = ISSUED if next_one is None else REPLACED
    return CertificateLine(
        link=Link(text=f"r{one.revision}, PDF", path=certificate_path(one)),
        chip=chip if withdrawn is None else WITHDRAWN,
        told=told,
    )


def certificate_path(one: Issued) -> str:
    """Where its PDF is published."""
    return f"certificates/{one.sensor}/{one.visit}.r{one.revision}.pdf"


def issued_view(lookup: Lookup, files: Mapping[str, bytes]) -> IssuedView:
    """All that are issued and those that no longer agree; `files`: what is published, by path in the site."""
    found = tuple(lookup.disagreements.values())
    return IssuedView(
        sentence=_sentence(lookup, len(found)),
        disagreements=tuple(_view(lookup, files, one) for one in found[:MOST_LISTED]),
        more=max(len(found) - MOST_LISTED, 0),
    )


def disagreement_line(lookup: Lookup, sensor: str, visit: str) -> Link | None:
    """What the visit's page says of a sensor's certificate that no longer agrees; leads to the Data page."""
    one = lookup.disagreements.get((sensor, visit))
    if one is None:
        return None
    text = f"{one.issued.number} no longer agrees with what is computed today: {_count(one)}; {_kinds(one)}"
    return Link(text=text, path=f"data/index.html#{ANCHOR}")


def _sentence(lookup: Lookup, differing: int) -> str:
    latest, every = len(newest(lookup.assessment)), len(lookup.records.issued)
    if not every:
        return "No certificate is issued: all that is published are previews"
    replaced = sum(one.revision > 1 for one in lookup.records.issued)
    said = f"{words.counted(every, 'certificate')} {'is' if every == 1 else 'are'} issued"
    if replaced:
        said += f", {replaced} of them in the place of an earlier revision"
    if not differing:
        return f"{said}. What is computed from the records today agrees with {'it' if latest == 1 else 'every one'}"
    return f"{said}. {differing} of {latest} no longer {'agrees' if differing == 1 else 'agree'} with what is computed"


def _view(lookup: Lookup, files: Mapping[str, bytes], one: Disagreement) -> DisagreementView:
    path = certificate_path(one.issued)
    return DisagreementView(
        number=one.issued.number,
        pdf=Link(text="PDF", path=path) if path in files else None,
        visit=lookup.visit(one.issued.visit),
        count=_count(one),
        differences=tuple(words.shown(found.words) for found in one.differences[:MOST_LISTED]),
        more=max(len(one.differences) - MOST_LISTED, 0),
        causes=tuple(f"{cause.kind}: {words.shown(cause.words)}" for cause in one.causes),
        cure=one.cure,
    )


def _count(one: Disagreement) -> str:
    count = len(one.differences)
    return f"{count} numbers or words differ" if count > 1 else "one number or word differs"


def _kinds(one: Disagreement) -> str:
    kinds = list(dict.fromkeys(cause.kind for cause in one.causes))
    return f"cause: {words.listed(kinds)}"
