"""`asfound round`."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path

from asfound.commands.common import CLEAN, COULD_NOT_RUN, command
from asfound.commands.due import add_horizon, agenda_of


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "round",
        "group what is due into trips with the cart: day, places, sensors, hours; also as a calendar file",
        "asfound round --until 2027-01-31 --calendar rounds.ics",
    )
    add_horizon(parser)
    parser.add_argument("--calendar", type=Path, metavar="FILE.ics", help="write a calendar file too (RFC 5545)")
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.planning.calendar_file import rounds_calendar
    from asfound.planning.rounds import rounds
    from asfound.terminal.agenda import rounds_json, rounds_text

    found = agenda_of(options)
    if found is None:
        return COULD_NOT_RUN
    records, agenda = found
    planned = rounds(records, agenda)
    if options.calendar is not None:
        made = datetime(agenda.day.year, agenda.day.month, agenda.day.day, tzinfo=UTC)
        try:
            options.calendar.write_bytes(rounds_calendar(records.facility, made, planned))
        except OSError as problem:
            print(f"{options.calendar}: {problem.strerror}\n  cure: name a file that can be written", file=sys.stderr)
            return COULD_NOT_RUN
    print(rounds_json(agenda, planned) if options.json else rounds_text(agenda, planned))
    return CLEAN
