"""`asfound issue-certificates`."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from asfound.commands.common import (
    CLEAN,
    FAULTS,
    QUIET_S,
    add_date,
    command,
    day_of,
    files_of,
    prefix_of,
    told_after,
)
from asfound.refusals import Refusal

if TYPE_CHECKING:
    from asfound.certificates.issue import NotIssued
    from asfound.records.issued import Issued

NAMED = "SENSOR/VISIT"


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "issue-certificates",
        "freeze the certificates of approved visits in records/issued/, for good; refuse the others, each with why",
        'asfound issue-certificates RH-101/2026-03-14-drying --reason "the customer\'s name was wrong"',
    )
    add_date(parser)
    parser.add_argument(
        "certificates",
        nargs="*",
        type=_named,
        metavar=NAMED,
        help="only these (default: every approved part of a visit that has none)",
    )
    parser.add_argument(
        "--reason", default="", metavar="TEXT", help="issue those named again though they were issued before, and why"
    )
    parser.add_argument(
        "--by", metavar="PERSON", help="id of who authorises them (default: whoever approved the record of each visit)"
    )
    parser.add_argument("--dry-run", action="store_true", help="say what would be issued, and write nothing")
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def _named(text: str) -> tuple[str, str]:
    sensor, slash, visit = text.partition("/")
    if not (sensor and slash and visit):
        raise argparse.ArgumentTypeError(f"{text!r} is no certificate; write it as {NAMED}, RH-101/2026-03-14-drying")
    return sensor, visit


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.assessment.assess import assess
    from asfound.certificates.issue import issue, unprintable, write
    from asfound.printing.templates import template_folders
    from asfound.provenance import HistoryOf

    if options.reason and not options.certificates:
        raise Refusal("--reason is for certificates that are named", f"name them, {NAMED} …")
    files = files_of(options.records)
    day = day_of(options)
    history = HistoryOf(options.records)
    with told_after(QUIET_S, f"reading and assessing {len(files)} records"):
        assessment = assess(files, day, history)
        issued, refused = issue(
            assessment,
            history.of(assessment.records),
            day,
            who=options.by,
            only=options.certificates,
            reason=options.reason,
        )
        unprintable(assessment, issued, template_folders())
    if not options.dry_run:
        write(issued, options.records)
    said = _json(issued, refused) if options.json else _text(issued, refused, options)
    print(said)
    return FAULTS if refused and options.certificates else CLEAN


def _text(issued: Sequence[Issued], refused: Sequence[NotIssued], options: argparse.Namespace) -> str:
    done = "would be issued" if options.dry_run else "issued"
    lines = [f"{one.number} {done}: {prefix_of(options.records)}{one.path}" for one in issued]
    again = [refusal.text for refusal in refused if refusal.replaces]
    others = [refusal.text for refusal in refused if not refusal.replaces]
    if again:
        lines += ["", "No longer as issued:" if not options.certificates else "Not issued:", *again]
    if others:
        lines += ["", "Not issued:", *others]
    count = f"{len(issued)} certificate{'' if len(issued) == 1 else 's'} {done}, {len(refused)} not"
    return "\n".join([*lines, "", count] if lines else [count])


def _json(issued: Sequence[Issued], refused: Sequence[NotIssued]) -> str:
    whole = {
        "issued": [
            {"number": one.number, "sensor": one.sensor, "visit": one.visit, "path": one.path} for one in issued
        ],
        "refused": [
            {"sensor": one.sensor, "visit": one.visit, "why": one.why, "cure": one.cure, "replaces": one.replaces}
            for one in refused
        ],
    }
    return json.dumps(whole, ensure_ascii=False, indent=1)
