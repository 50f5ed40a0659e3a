"""Results and their budgets, row by row, as every page shows them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.rounding import expanded, fixed, freedom, significant, value_with
from asfound.site.lookup.lookup import Lookup, visit_link
from asfound.wording import words
from asfound.wording.words import Chip, Link


@dataclass(frozen=True, kw_only=True)
class ResultRow:
    """One result; numbers without their unit, which stands in the table's head."""

    anchor: str
    plateau: str
    point: str
    way: str
    reference_value: str
    output: str
    far_end: str
    error: str
    k: str
    freedom: str
    tolerance: str
    outside: str
    verdict: Chip
    reservations: tuple[Chip, ...]


@dataclass(frozen=True, kw_only=True)
class ResultGroup:
    """Results of one phase of one visit."""

    phase: str
    visit: Link
    rows: tuple[ResultRow, ...]


@dataclass(frozen=True, kw_only=True)
class ResultTable:
    """Results of one channel."""

    channel: str
    unit: str
    groups: tuple[ResultGroup, ...]
    columns: int
    has_verdicts: bool
    has_output: bool
    has_far_end: bool
    rules: tuple[str, ...]
    """decision rules that gave the verdicts, each once, with the days of its visits"""
    remarks: tuple[str, ...]
    """reservations and notes in full"""


@dataclass(frozen=True, kw_only=True)
class BudgetRow:
    """One source in a budget."""

    label: str
    identity: str
    distribution: str
    u: str
    sensitivity: str
    contribution: str
    share: str
    freedom: str


@dataclass(frozen=True, kw_only=True)
class BudgetView:
    """The budget of one result."""

    anchor: str
    title: str
    summary: str
    answer: str
    unit: str
    rows: tuple[BudgetRow, ...]
    u: str
    freedom: str


def result_table(results: Sequence[Result]) -> ResultTable:
    """Results of one channel, in the order given."""
    groups = groupby(results, key=lambda r: (r.visit, r.phase))
    has_verdicts = any(math.isfinite(r.tolerance) or r.status == "not done" for r in results)
    has_output = any(math.isfinite(r.output) for r in results)
    has_far_end = any(math.isfinite(r.far_end) for r in results)
    return ResultTable(
        columns=5 + 3 * has_verdicts + has_output + has_far_end,
        has_verdicts=has_verdicts,
        channel=str(results[0].channel),
        unit=words.unit(results[0].unit),
        groups=tuple(
            ResultGroup(phase=words.phase(phase), visit=visit_link(visit), rows=tuple(map(result_row, found)))
            for (visit, phase), found in groups
        ),
        has_output=has_output,
        has_far_end=has_far_end,
        rules=_rules(results),
        remarks=remarks(results),
    )


def _rules(results: Sequence[Result]) -> tuple[str, ...]:
    days: dict[str, list[date]] = {}
    for r in results:
        if r.has_verdict:
            days.setdefault(r.rule, []).append(r.day)
    return tuple(
        f"{rule} (visits {words.days(min(found), max(found))})" if len(days) > 1 else rule
        for rule, found in days.items()
    )


def result_row(r: Result) -> ResultRow:
    """One result as a row."""
    return ResultRow(
        anchor=f"{r.sensor}-{r.channel}-{r.plateau}",
        plateau=str(r.plateau),
        point=words.point(r),
        way="" if r.direction == "start" else words.way(r.direction, r.one_way),
        reference_value=value_with(r.reference_value, r.U),
        output=value_with(r.output, r.U),
        far_end=value_with(r.far_end, r.U),
        error=words.error_with_u(r),
        k=fixed(r.k, 2),
        freedom=freedom(r.nu_eff),
        tolerance=words.tolerance(r),
        outside=words.percent(r.p_outside),
        verdict=status_chip(r),
        reservations=tuple(dict.fromkeys(words.reservation_chip(fault) for fault in r.reservations)),
    )


def status_chip(r: Result) -> Chip:
    """The verdict; of what was not read, that it was not."""
    if r.status == "not done":
        return Chip(word="not done", kind="none")
    return words.verdict_chip(r.verdict)


def remarks(results: Sequence[Result]) -> tuple[str, ...]:
    """Reservations and notes in full, each with the plateaus that it concerns."""
    found: dict[str, list[str]] = {}
    for r in results:
        texts = [f"{fault.rule.name.replace('-', ' ')}: {fault.message}" for fault in r.reservations]
        if r.note:
            texts.append(f"note: {r.note}")
        if r.status == "not done" and not r.note:
            texts.append("not done")
        for text in texts:
            found.setdefault(words.shown(text), []).append(str(r.plateau))
    return tuple(
        f"{'Plateaus' if len(plateaus) > 1 else 'Plateau'} {words.listed(plateaus)}: {text}"
        for text, plateaus in found.items()
    )


def budget(lookup: Lookup, r: Result) -> BudgetView | None:
    """The budget of a result that was measured here."""
    if r.line is None:
        return None
    symbol = words.unit(r.unit)
    lines = lookup.assessment.measurement.whole().lines(r.line)
    return BudgetView(
        anchor=f"budget-{r.sensor}-{r.channel}-{r.plateau}",
        title=f"Budget of plateau {r.plateau}: {r.channel} {words.phase(r.phase)} at {words.point(r)}",
        summary=f"u = {significant(r.u, 3)} {symbol}, {words.equal('ν', freedom(r.nu_eff))}, k = {fixed(r.k, 2)}, "
        f"U = {expanded(r.U)} {symbol}",
        answer=answer_in_words(lookup, r),
        unit=symbol,
        rows=tuple(
            BudgetRow(
                label=line.source.label,
                identity=line.source.identity,
                distribution=str(line.source.distribution),
                u=_standard_uncertainty(line.source.u, line.source.unit),
                sensitivity=words.digits(line.sensitivity, 3),
                contribution=words.digits(line.contribution, 3),
                share=_share(line.share),
                freedom=freedom(line.source.nu),
            )
            for line in lines
        ),
        u=significant(math.sqrt(math.fsum(line.contribution**2 for line in lines)), 3),
        freedom=freedom(float(lookup.assessment.measurement.whole().nu[r.line])),
    )


def answer_in_words(lookup: Lookup, r: Result) -> str:
    """Which answer U comes from: linear, or Monte Carlo with trials and seed."""
    answer = lookup.assessment.answers.get(r.line) if r.line is not None else None
    if answer is None:
        return "linear propagation (GUM)"
    trials = f"{answer.trials:,}".replace(",", "\u202f")
    return f"Monte Carlo (JCGM 101), {trials} trials, seed {answer.seed}"


def _standard_uncertainty(u: float, symbol: str) -> str:
    number = words.digits(u, 2)
    return number if symbol == "1" else words.shown(f"{number} {symbol}")


def _share(share: float) -> str:
    if share < 0.0005:
        return "< 0.1 %"
    return f"{fixed(100 * share, 1)} %"


def worst(results: Sequence[Result]) -> Result:
    """The result that decides: the gravest verdict, then the worst."""
    gravest = min(_GRAVITY.index(r.verdict) for r in results)
    return max((r for r in results if r.verdict is _GRAVITY[gravest]), key=lambda r: r.badness)


_GRAVITY = (
    Verdict.FAIL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.UNDECIDED,
    Verdict.CONDITIONAL_PASS,
    Verdict.PASS,
    Verdict.NONE,
)
