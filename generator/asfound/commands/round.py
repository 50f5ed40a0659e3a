"""`asfound round`."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path

from asfound.commands.common import CLEAN, command
from asfound.commands.due import add_horizon, agenda_of
from asfound.refusals import Refusal


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

    records, agenda = agenda_of(options)
    planned = rounds(records, agenda)
    if options.calendar is not None:
        made = datetime(agenda.day.year, agenda.day.month, agenda.day.day, tzinfo=UTC)
        try:
            options.calendar.write_bytes(rounds_calendar(records.facility, made, planned))
        except OSError as problem:
            raise Refusal(f"{options.calendar}: {problem.strerror}", "name a file that can be written") from None
    print(rounds_json(agenda, planned) if options.json else rounds_text(agenda, planned))
    return CLEAN
