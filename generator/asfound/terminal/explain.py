"""`explain`: the technician's verdict at the cart, as text: error, U, verdict, advice, and budgets row by row."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asfound.assessment.assess import Approvals, Assessment, assess_visit
from asfound.assessment.due import points_met
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.assessment.standing import decided_by_the_unread_side
from asfound.faults import Fault
from asfound.records.models import Channel
from asfound.records.snapshot import LOGS, Snapshot, laid_over
from asfound.records.visits.visit_files import NAME
from asfound.refusals import Refusal
from asfound.rounding import NOTHING, expanded, fixed, freedom, json_number, significant, value_with
from asfound.site.views.results import worst
from asfound.soak.waiting import expanded as expanded_left
from asfound.terminal.tables import GLYPHS, aligned, wrapped
from asfound.wording.words import unread_side, way


@dataclass(frozen=True, kw_only=True)
class Explained:
    """One visit explained: text for people, data for programs, and the faults that stand in the way."""

    faults: tuple[Fault, ...]
    assessment: Assessment | None
    summaries: tuple[SensorVisitSummary, ...]


def explain_file(files: Snapshot, file: Path, approvals: Approvals | None = None) -> tuple[Explained, str]:
    """Explain a visit file that need not be committed, finished, or inside the records; and its path as a record.

    Raises Refusal where the file cannot be read or is not named like a visit.
    """
    try:
        content = file.read_bytes()
    except OSError as problem:
        raise Refusal(f"{file}: cannot be read ({problem.strerror})", "check the file's name") from None
    path = f"visits/{file.name[:4]}/{file.name}"
    if NAME.fullmatch(path) is None:
        raise Refusal(f"{file}: not named like a visit", "name it YYYY-MM-DD-words.csv, e.g. 2026-03-14-drying.csv")
    left = {} if b"log" not in content.partition(b"\n")[0] else _beside(file)
    left = {name: read for name, read in left.items() if name not in files}
    return _explained(laid_over(files, {**left, path: lambda: content}), path, approvals), path


def _beside(file: Path) -> dict[str, Callable[[], bytes]]:
    """At the cart a log lies where its visit lies, and finds its way to logs/ later."""
    others = sorted(other for other in file.parent.iterdir() if other.is_file() and other.name != file.name)
    return {f"{LOGS}{other.name}": other.read_bytes for other in others}


def explain_visit(files: Snapshot, sensor: str, visit: str, approvals: Approvals | None = None) -> Explained:
    """Explain one sensor at one committed visit (its id, with or without revision).

    Raises Refusal where there is no such visit or the sensor is not in it.
    """
    name = visit.removesuffix(".csv")
    path = f"visits/{name[:4]}/{name}.csv"
    if path not in files:
        close = sorted(
            p.rpartition("/")[2].removesuffix(".csv") for p in files if p.startswith(f"visits/{name[:4]}/{name[:7]}")
        )
        hint = f"; that month has {', '.join(close)}" if close else ""
        raise Refusal(f"there is no visit {visit!r}", f"give the file's name without .csv{hint}")
    explained = _explained(files, path, approvals)
    chosen = tuple(s for s in explained.summaries if s.sensor_visit.sensor == sensor)
    if explained.summaries and not chosen:
        held = ", ".join(s.sensor_visit.sensor for s in explained.summaries)
        raise Refusal(f"{sensor!r} is not in the visit {visit!r}", f"it holds {held}")
    return Explained(faults=explained.faults, assessment=explained.assessment, summaries=chosen)


def _explained(files: Snapshot, path: str, approvals: Approvals | None) -> Explained:
    assessment, faults = assess_visit(files, path, approvals)
    found = assessment.summaries if assessment else ()
    mine = tuple(s for s in found if s.sensor_visit.visit.path == path)
    return Explained(faults=tuple(faults), assessment=assessment, summaries=mine)


def as_text(explained: Explained, *, budgets: bool = False, plateau: int | None = None) -> str:
    """The whole as lines for a terminal; `plateau`: that one alone, where a summary has it.

    Raises Refusal where none of them has it.
    """
    numbers = sorted({r.plateau for summary in explained.summaries for r in summary.results})
    if plateau is not None and numbers and plateau not in numbers:
        raise Refusal(f"there is no plateau {plateau}", f"give one of {', '.join(map(str, numbers))}")
    blocks = [_sensor_text(explained, summary, budgets, plateau) for summary in explained.summaries]
    return "\n\n".join(blocks)


def _sensor_text(explained: Explained, summary: SensorVisitSummary, budgets: bool, plateau: int | None) -> str:
    sv = summary.sensor_visit
    serial = summary.results[0].serial if summary.results else ""
    head = f"{sv.sensor}{f' (serial {serial})' if serial else ''} at {sv.visit.name}"
    if sv.withdrawn:
        return f"{head}: withdrawn ({sv.reason})"
    chosen = [r for r in summary.results if plateau is None or r.plateau == plateau]
    lines = [head, *_bottom_line(summary), *_table(chosen)]
    for (rule, message), where in _together(chosen).items():
        lines.append(f"  plateau {', '.join(where)}: {rule}: {message}")
    lines += _logs(explained, chosen)
    for result in chosen:
        if result.status == "not done":
            lines.append(f"  plateau {result.plateau}: not done{f' ({result.note})' if result.note else ''}")
    rules = dict.fromkeys(r.rule for r in chosen if r.has_verdict)
    for rule in rules:
        lines += wrapped(f"rule: {rule}", "  ", "    ")
    for width in summary.hysteresis:
        size = f"{value_with(width.width, width.U, sign=True)} ± {expanded(width.U)} {width.unit}"
        lines.append(f"  hysteresis at {width.target:g} %RH (falling − rising): {size}")
    if summary.advice is not None:
        said = f"advice: {summary.advice.sentence}"
        lines += wrapped(said, "  ", "    ")
    if budgets and explained.assessment is not None:
        for result in chosen:
            lines += ["", *_budget_text(explained.assessment, result)]
    return "\n".join(lines)


def _logs(explained: Explained, results: Sequence[Result]) -> Iterator[str]:
    """Of each plateau that was read from a log: which, and what was left of the approach."""
    if explained.assessment is None:
        return
    measurement = explained.assessment.measurement
    for result in results:
        logged = measurement.logged.get(measurement.lines[result.line].cell) if result.line is not None else None
        if logged is None or result.channel is not Channel.HUMIDITY:
            continue
        one = logged.judged
        if one is None or not math.isfinite(one.left):
            said = f"what was left of the approach is not known{f': {one.reason}' if one else ''}"
        else:
            U = expanded_left(one)
            constants = " and ".join(f"{significant(minutes, 2)} min" for minutes in one.time_constants_min)
            said = f"{value_with(one.left, U, sign=True)} ± {expanded(U)} %RH of the approach was left"
            said += f" ({one.model}, {constants})" if constants else ""
        yield f"  plateau {result.plateau}: mean of {logged.minutes:g} min of {logged.path}; {said}"


def _bottom_line(summary: SensorVisitSummary) -> list[str]:
    """What matters first: the gravest verdict of the newest phase, and which points are still to do."""
    phase = "as_left" if any(r.phase == "as_left" and r.has_verdict for r in summary.results) else "as_found"
    judged = [r for r in summary.results if r.phase == phase and r.has_verdict]
    lines = []
    if judged:
        verdict = worst(judged).verdict
        lines.append(f"  {GLYPHS[verdict]} {verdict}, {phase.replace('_', ' ')}")
        if (other := decided_by_the_unread_side(judged)) is not None:
            said = f"too close to call: {other.target:g} %RH {unread_side(other)}; read it from that side, too"
            lines += wrapped(said, f"  {GLYPHS[other.other_way]} ", "    ")
    to_do = [f"{point:g}" for point in summary.points if not points_met(judged, (point,))]
    if judged and to_do:
        lines.append(f"  still to do: {', '.join(to_do)} %RH")
    own = [r for r in judged if r.channel is Channel.HUMIDITY and not any(r.counts_at(p) for p in summary.points)]
    if own and summary.points:
        listed = ", ".join(dict.fromkeys(f"{r.point:.4g}" for r in own))
        lines.append(f"  at no set point: {listed} %RH; within {own[0].reach:.2g} %RH of one it would count there")
    return lines


def _together(results: Sequence[Result]) -> dict[tuple[str, str], list[str]]:
    """Reservations, each once, with the plateaus that it concerns."""
    found: dict[tuple[str, str], list[str]] = {}
    for result in results:
        for fault in result.reservations:
            where = found.setdefault((fault.rule.name, fault.message), [])
            if str(result.plateau) not in where:
                where.append(str(result.plateau))
    return found


_COLUMNS = ("plateau", "phase", "channel", "target", "way", "reference", "shown", "error", "U", "k", "T", "verdict")
_SPLIT = ("of the sensor", "of the loop")


def _table(results: Sequence[Result]) -> list[str]:
    """The results line by line; where the loop was read at both ends, what each of its parts errs by."""
    split = any(math.isfinite(r.error_loop) for r in results)
    rows = [_COLUMNS, *(_row(r) for r in results)]
    if split:
        parts = [_SPLIT, *(_parts(r) for r in results)]
        rows = [(*row[:-1], *own, row[-1]) for row, own in zip(rows, parts, strict=True)]
    return aligned(rows, indent=2)


def _row(r: Result) -> tuple[str, ...]:
    shown = r.output if math.isnan(r.far_end) or r.part.value == "sensor" else r.far_end
    return (
        str(r.plateau),
        r.phase.replace("_", " "),
        r.channel.value,
        f"{r.target:g} %RH",
        way(r.direction, r.one_way),
        value_with(r.reference_value, r.U),
        value_with(shown, r.U),
        f"{value_with(r.error, r.U, sign=True)} {r.unit}" if math.isfinite(r.error) else NOTHING,
        expanded(r.U) if math.isfinite(r.U) else NOTHING,
        fixed(r.k, 2),
        value_with(r.tolerance, r.U),
        f"{GLYPHS[r.verdict]} {r.verdict}",
    )


def _parts(r: Result) -> tuple[str, str]:
    """Errors of the sensor and of its loop alone."""
    if not math.isfinite(r.error_loop):
        return NOTHING, NOTHING
    return value_with(r.error_sensor, r.U_sensor, sign=True), value_with(r.error_loop, r.U_loop, sign=True)


def _budget_text(assessment: Assessment, result: Result) -> list[str]:
    if result.line is None:
        return []
    answer = assessment.answers.get(result.line)
    how = f"Monte Carlo, {answer.trials} trials, seed {answer.seed}" if answer else "linear"
    head = (
        f"  budget of plateau {result.plateau}, {result.channel}: u = {significant(result.u, 3)} {result.unit}, "
        f"ν = {freedom(result.nu_eff)}, k = {fixed(result.k, 2)}, U = {expanded(result.U)} {result.unit} ({how})"
    )
    lines = [("source", "standard uncertainty", "sensitivity", f"contribution {result.unit}", "share")]
    lines += [
        (
            line.source.label,
            f"{significant(line.source.u, 2)} {line.source.unit} {line.source.distribution}",
            significant(line.sensitivity, 3),
            significant(line.contribution, 2),
            f"{100 * line.share:.1f} %",
        )
        for line in assessment.measurement.whole().lines(result.line)
    ]
    return [head, *aligned(lines, indent=4)]


def as_json(explained: Explained, prefix: str) -> str:
    """The same for programs: numbers at 10 significant digits, null where there is none."""
    document = {
        "faults": [fault.text(prefix) for fault in explained.faults],
        "results": [_result_data(explained, r) for s in explained.summaries for r in s.results],
        "advice": {s.sensor_visit.sensor: s.advice.sentence for s in explained.summaries if s.advice},
    }
    return json.dumps(document, ensure_ascii=False, indent=2)


def _result_data(explained: Explained, r: Result) -> Mapping[str, Any]:
    numbers = ("target", "reference_value", "output", "far_end", "error", "u", "nu_eff", "k", "U", "tolerance")
    data: dict[str, Any] = {
        "visit": r.visit,
        "sensor": r.sensor,
        "channel": r.channel.value,
        "plateau": r.plateau,
        "phase": r.phase,
        "unit": r.unit,
        **{name: json_number(getattr(r, name)) for name in numbers},
        "direction": r.direction,
        "one_way": r.one_way,
        "verdict": r.verdict.value,
        "p_outside": json_number(r.p_outside),
        "answer": r.answer,
        "status": r.status,
        "reservations": [f.rule.name for f in r.reservations],
    }
    if r.line is not None and explained.assessment is not None:
        data["budget"] = [
            {
                "source": line.source.identity,
                "sensitivity": json_number(line.sensitivity),
                "standard_uncertainty": json_number(line.source.u),
                "contribution": json_number(line.contribution),
            }
            for line in explained.assessment.measurement.whole().lines(r.line)
        ]
    return data
