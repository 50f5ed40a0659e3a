"""`asfound soak`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from asfound.commands.common import CLEAN, FAULTS, QUIET_S, command, files_of, told_after
from asfound.records.visits.columns import READING_PHASES
from asfound.refusals import Refusal


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "soak",
        "read raw logs: where the reference stood, what sensors had left to settle, how long would have done",
        "asfound soak records/logs/2026-11-24-drying.csv --with technician=varlund --output 2026-11-24-drying.csv",
    )
    parser.add_argument("logs", nargs="+", type=Path, metavar="LOG", help="a logger's file, any delimited text")
    parser.add_argument(
        "--mapping", type=Path, metavar="FILE", help="what its columns hold (default: LOG's name with .yml, beside it)"
    )
    parser.add_argument(
        "--sensor", action="append", default=[], metavar="ID", help="a sensor that was logged (default: the mapping's)"
    )
    parser.add_argument("--reference", metavar="ID", help="the reference (default: the mapping's)")
    parser.add_argument("--phase", choices=READING_PHASES, default="as_found", help="what was read (default: as_found)")
    parser.add_argument(
        "--window",
        type=_minutes,
        default=5.0,
        metavar="MIN",
        help="minutes at a plateau's end that are read (default: 5)",
    )
    parser.add_argument(
        "--share",
        type=_percent,
        default=None,
        metavar="PERCENT",
        help="of the tolerance that may be left, with its U, in %% (default: what the policy allows, else 10)",
    )
    parser.add_argument(
        "--with",
        dest="given",
        action="append",
        type=_given,
        default=[],
        metavar="COLUMN=VALUE",
        help='what every row of the visit has, e.g. loop_meter=METER-01 or "ambient_pressure [hPa absolute]=1009.2"',
    )
    parser.add_argument("--output", type=Path, metavar="VISIT.csv", help="write the visit's rows; they name the log")
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def _minutes(text: str) -> float:
    return _between(text, 0.5, 120.0, "minutes")


def _percent(text: str) -> float:
    return _between(text, 0.1, 100.0, "percent") / 100.0


def _between(text: str, lowest: float, highest: float, unit: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not lowest <= value <= highest:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of {unit} from {lowest:g} to {highest:g}")
    return value


def _given(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals or not name.strip() or not value.strip():
        raise argparse.ArgumentTypeError(f"{text!r} is not COLUMN=VALUE, e.g. loop_meter=METER-01")
    return name.strip(), value.strip()


def run(options: argparse.Namespace) -> int:
    """The exit code: 0 every soak was long enough, 1 one was not or the log has faults, 2 could not run."""
    from asfound.sheets.from_log import Asked, soak, visit_rows
    from asfound.terminal.soak import as_json, as_text, total_text

    files = files_of(options.records)
    if options.output and (options.output.exists() or len(options.logs) > 1):
        why = "is there already" if options.output.exists() else "cannot hold the rows of several logs"
        raise Refusal(f"{options.output}: {why}", "give another name, and one log at a time")
    found = []
    with told_after(QUIET_S, "fitting the approaches …"):
        for log in options.logs:
            asked = Asked(
                log=log,
                folder=options.records,
                mapping=options.mapping,
                sensors=tuple(options.sensor),
                reference=options.reference,
                phase=options.phase,
                window_min=options.window,
                share=options.share,
                given=dict(options.given),
            )
            found.append(soak(files, asked))
    if options.json:
        print(as_json(found))
    else:
        print("\n\n".join(map(as_text, found)), total_text(found), sep="\n\n")
    if options.output:
        options.output.write_bytes(visit_rows(found[0]))
        print(f"{options.output}: written; add what was seen (serial, condition, room)", file=sys.stderr)
        if not found[0].asked.is_record:
            print(f"put {options.logs[0].name} and its mapping into {options.records / 'logs'}/", file=sys.stderr)
    return CLEAN if all(one.all_long_enough for one in found) else FAULTS
