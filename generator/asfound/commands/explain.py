"""`asfound explain`."""

from __future__ import annotations

import argparse
from pathlib import Path

from asfound.commands.common import CLEAN, FAULTS, command, files_of, prefix_of
from asfound.faults import Severity, in_order
from asfound.refusals import Refusal


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "explain",
        "say what a visit means: error, U, verdict and advice for each plateau; works on an unfinished file",
        "asfound explain 2026-03-14-drying.csv --budget 2",
    )
    parser.add_argument(
        "what", nargs="+", metavar="FILE.csv | SENSOR VISIT", help="a visit's file, or a sensor and the id of a visit"
    )
    parser.add_argument(
        "--budget",
        nargs="?",
        const=0,
        type=int,
        metavar="PLATEAU",
        help="show the budgets row by row, of one plateau or all",
    )
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.provenance import HistoryOf
    from asfound.terminal.explain import as_json, as_text, explain_file, explain_visit

    files = files_of(options.records)
    file = path = ""
    history = HistoryOf(options.records)
    if len(options.what) == 1:
        file = options.what[0]
        explained, path = explain_file(files, Path(file), history)
    elif len(options.what) == 2:
        sensor, visit = options.what
        explained = explain_visit(files, sensor, visit, history)
    else:
        raise Refusal("give one visit file, or a sensor and a visit")
    prefix = prefix_of(options.records)
    if options.json:
        print(as_json(explained, prefix))
    else:
        text = as_text(explained, budgets=options.budget is not None, plateau=options.budget or None)
        if text:
            print(text)
        for fault in in_order(explained.faults):  # a file that is no record yet is named as it was given
            shown = fault.text(prefix)
            print(shown.replace(f"{prefix}{path}", file, 1) if path else shown)
    return FAULTS if any(f.rule.severity is Severity.ERROR for f in explained.faults) else CLEAN
