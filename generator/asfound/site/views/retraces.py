"""What the calibrations of a reference found, carried back to the visits before: a block of its page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from asfound.assessment.references.recalibrations import Recalibration
from asfound.records.methods import QUANTITIES
from asfound.retrace.carried_back import CarriedBack
from asfound.retrace.retrace import Moved, Retrace
from asfound.site.lookup.lookup import Lookup, visit_link
from asfound.wording import words
from asfound.wording.words import Chip, Link

NAMED = 3
"""So many visits with verdicts in question are named in a sentence."""


@dataclass(frozen=True, kw_only=True)
class CarriedRow:
    """One day's calibrations: what they found, and what that moves."""

    day: str
    found: tuple[str, ...]
    """a sentence a quantity"""
    moves: str
    verdicts: str


@dataclass(frozen=True, kw_only=True)
class VerdictRow:
    """One result of which the verdict would be another."""

    found_by: str
    visit: Link
    item: Link
    point: str
    before: str
    before_chip: Chip
    after: str
    after_chip: Chip


@dataclass(frozen=True, kw_only=True)
class RetraceBlock:
    """All that was found of one reference, newest first."""

    sentence: str
    """of the newest day"""
    rows: tuple[CarriedRow, ...]
    verdicts: tuple[VerdictRow, ...]


def retrace_block(lookup: Lookup, carried: Sequence[CarriedBack]) -> RetraceBlock | None:
    """The block of one reference; None where no calibration of it can be compared with the one before."""
    if not carried:
        return None
    newest = carried[0]
    return RetraceBlock(
        sentence=f"What the calibration of {newest.day} found, carried back: {_moves(newest.retrace)}.",
        rows=tuple(
            CarriedRow(
                day=str(one.day),
                found=tuple(_found(change) for change in one.found),
                moves=_size(one.retrace),
                verdicts=str(len(one.retrace.verdicts)),
            )
            for one in carried
        ),
        verdicts=tuple(row for one in carried for row in _verdicts(lookup, one)),
    )


def in_question(carried: Sequence[CarriedBack]) -> str:
    """For the Overview: verdicts that the newest calibration of a quantity puts in question; "" for none.

    A change within its U does not: the budget of each result holds it already. A check of the reference itself is no
    verdict that anybody relies on.
    """
    seen: set[str] = set()
    said = []
    for one in carried:  # newest first: of each quantity only the newest calibration
        newest = [change for change in one.found if change.quantity not in seen]
        verdicts = [moved for moved in one.retrace.verdicts if moved.before.phase != "check"]
        if verdicts and not all(change.conforms for change in newest):
            items = list(dict.fromkeys(f"{m.before.sensor} ({m.before.visit})" for m in verdicts))
            named = items[:NAMED] + ([f"{len(items) - NAMED} more"] if len(items) > NAMED else [])
            recall = [change.sensor for change in one.retrace.recalls]
            more = f"; no longer in tolerance: {words.listed(recall)}" if recall else ""
            count = words.counted(len(verdicts), "verdict")
            said.append(f"what the calibration of {one.day} found would change {count}: {words.listed(named)}{more}")
        seen |= {change.quantity for change in one.found}
    return "; ".join(said)


def _moves(found: Retrace) -> str:
    if not found.moved:
        return "no result moves"
    own = sum(moved.before.phase == "check" for moved in found.verdicts)
    others = len(found.verdicts) - own
    change = f"{words.counted(others, 'verdict')} {words.verb('change', others)}" if others else "no verdict changes"
    change += f", and {words.counted(own, 'verdict')} of checks of references" if own else ""
    count, visits = words.counted(len(found.moved), "result"), words.counted(len(found.visits), "visit")
    return f"{count} of {visits} {words.verb('move', len(found.moved))}{_up_to(found)}; {change}"


def _size(found: Retrace) -> str:
    if not found.moved:
        return "no result"
    count, visits = words.counted(len(found.moved), "result"), words.counted(len(found.visits), "visit")
    return f"{count} of {visits},{_up_to(found)}"


def _up_to(found: Retrace) -> str:
    largest = found.largest
    if largest is None:
        return ""
    size = f"{words.digits(abs(largest.change), 2)} {words.unit(largest.before.unit)}"
    return f" by up to {words.digits(largest.share, 2)} U (there {size})"


def _found(change: Recalibration) -> str:
    """`saturation pressure +0.07 ± 0.44 kPa at 1000 kPa since 2025-09-02, 14 % of the drift allowed`."""
    scale, symbol = words.shown_unit(QUANTITIES[change.quantity])
    size, at = words.difference(change.change * scale, change.U * scale), words.shown(f"{change.at * scale:.4g}")
    beyond = "" if change.conforms else ": more than its U"
    moved = ""
    if change.allowance > 0.0:  # nan where no drift is declared
        moved = f", {words.digits(100.0 * abs(change.change) / change.allowance, 2)} % of the drift allowed"
    quantity = change.quantity.replace("_", " ")
    return f"{quantity} {size} {symbol} at {at} {symbol} since {change.before}{moved}{beyond}"


def _verdicts(lookup: Lookup, one: CarriedBack) -> Iterator[VerdictRow]:
    for m in one.retrace.verdicts:
        yield VerdictRow(
            found_by=str(one.day),
            visit=visit_link(m.before.visit),
            item=lookup.item(m.before.sensor),
            point=f"{words.point(m.before)}, {words.phase(m.before.phase)}{_channel(lookup, m)}",
            before=f"{words.error_with_u(m.before)} {words.unit(m.before.unit)}",
            before_chip=words.verdict_chip(m.before.verdict),
            after=f"{words.error_with_u(m.after)} {words.unit(m.after.unit)}",
            after_chip=words.verdict_chip(m.after.verdict),
        )


def _channel(lookup: Lookup, m: Moved) -> str:
    standing = lookup.assessment.standings.get(m.before.sensor)
    return f", {m.before.channel}" if standing and len(standing.settings.channels) > 1 else ""
