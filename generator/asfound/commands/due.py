"""`asfound due`."""

from __future__ import annotations

import argparse
from datetime import timedelta
from typing import TYPE_CHECKING

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
from asfound.refusals import Refusal

if TYPE_CHECKING:
    from asfound.planning.agenda import Agenda
    from asfound.records.load import Records


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "due",
        "list what is due by day and place: sensors, and references whose calibration runs out",
        "asfound due --until 2027-01-31 --place drying-a",
    )
    add_horizon(parser)
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def add_horizon(parser: argparse.ArgumentParser) -> None:
    """The options that say until when and where; shared with `round`."""
    add_date(parser)
    parser.add_argument(
        "--until",
        type=day_option,
        metavar="YYYY-MM-DD",
        help="the last day looked at (default: as far ahead as facility.yml plans rounds, else 60 days)",
    )
    parser.add_argument("--place", action="append", default=[], metavar="ID", help="only there; once for each place")


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.terminal.agenda import due_json, due_text

    found = agenda_of(options)
    print(due_json(*found) if options.json else due_text(*found))
    return CLEAN


def agenda_of(options: argparse.Namespace) -> tuple[Records, Agenda]:
    """What is due by the options. Raises Refusal for a place that there is not."""
    from asfound.assessment.assess import assess
    from asfound.faults import did_you_mean
    from asfound.planning.agenda import agenda, place_order
    from asfound.provenance import HistoryOf

    files = files_of(options.records)
    day = day_of(options)
    with told_after(QUIET_S, f"reading and assessing {len(files)} records"):
        assessment = assess(files, day, HistoryOf(options.records))
    known = place_order(assessment.records)
    until = options.until or day + timedelta(days=assessment.records.facility.rounds.ahead_days)
    for name in options.place:
        if name not in known:
            hint = did_you_mean(name, known)
            raise Refusal(f"{name}: no such place", f"use an id under places in facility.yml{hint}")
    return assessment.records, agenda(assessment, until, tuple(options.place))
