"""`asfound check`."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence

from asfound.commands.common import CLEAN, FAULTS, command, files_of, prefix_of, print_faults
from asfound.faults import Fault, Severity, in_order


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(commands, "check", "report every fault of the records, all at once", "asfound check --annotations")
    parser.add_argument(
        "--annotations", action="store_true", help="as workflow commands that code review shows on the lines"
    )
    parser.add_argument("--reservations", action="store_true", help="also list reservations: published, not blocking")
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.assessment.assess import check
    from asfound.provenance import HistoryOf

    files = files_of(options.records)
    faults = in_order(check(files, HistoryOf(options.records)))
    errors = [f for f in faults if f.rule.severity is Severity.ERROR]
    shown = faults if options.reservations else errors
    if options.json:
        print(_json(shown, prefix_of(options.records)))
    else:
        print_faults(shown, prefix_of(options.records), annotations=options.annotations)
    visits = sum(path.startswith("visits/") for path in files)
    count = f"{len(errors)} error{'s' if len(errors) != 1 else ''}" if errors else "no errors"
    print(f"{len(files)} files, {visits} visits: {count}", file=sys.stderr)
    return FAULTS if errors else CLEAN


def _json(faults: Sequence[Fault], prefix: str) -> str:
    said = [
        {
            "file": prefix + fault.place.path,
            "line": fault.place.line,
            "column": fault.place.column,
            "severity": str(fault.rule.severity),
            "rule": fault.rule.name,
            "message": fault.message,
            "cure": fault.cure,
        }
        for fault in faults
    ]
    return json.dumps(said, ensure_ascii=False, indent=1)
