"""`asfound retrace`."""

from __future__ import annotations

import argparse

from asfound.commands.common import (
    CLEAN,
    QUIET_S,
    add_date,
    command,
    day_of,
    day_option,
    files_of,
    told_after,
)
from asfound.faults import RecordsRefused


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "retrace",
        "say what changes if a reference was wrong: all that leaned on it, measured again",
        "asfound retrace GEN-01 --since 2026-03-01 --shift saturation_temperature=+0.15 degC",
    )
    add_date(parser)
    parser.add_argument("reference", metavar="REFERENCE", help="id of the reference that was wrong")
    parser.add_argument(
        "--since", type=day_option, required=True, metavar="YYYY-MM-DD", help="the first day it was wrong on"
    )
    parser.add_argument("--until", type=day_option, metavar="YYYY-MM-DD", help="the last (default: it still is)")
    parser.add_argument(
        "--shift",
        nargs="+",
        action="append",
        required=True,
        metavar=("QUANTITY=ERROR", "UNIT"),
        help="its error beyond what its calibrations say, reading − true: + where it read too high; "
        "once for each quantity",
    )
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.assessment.assess import assess
    from asfound.provenance import HistoryOf
    from asfound.records.load import load
    from asfound.retrace.retrace import retrace
    from asfound.terminal.retrace import as_json, as_text, question

    files = files_of(options.records)
    # Without the visits: what was typed wrong is said at once.
    records, faults = load({path: content for path, content in files.items() if not path.startswith("visits/")})
    if records is None:
        raise RecordsRefused(faults)
    errors = [" ".join(words) for words in options.shift]
    day = day_of(options)
    asked = question(records, options.reference, errors, options.since, options.until, day)
    with told_after(QUIET_S, f"reading and assessing {len(files)} records"):
        assessment = assess(files, day, HistoryOf(options.records))
        found = retrace(assessment, asked.shifts)
    print(as_json(asked, found) if options.json else as_text(asked, found))
    return CLEAN
