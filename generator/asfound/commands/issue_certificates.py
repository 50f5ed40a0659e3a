"""`asfound issue-certificates`."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from asfound.commands.common import (
    CLEAN,
    COULD_NOT_RUN,
    FAULTS,
    QUIET_S,
    add_date,
    command,
    files_of,
    prefix_of,
    told_after,
)

if TYPE_CHECKING:
    from asfound.certificates.issue import Refusal
    from asfound.records.issued import Issued
    from asfound.records.snapshot import Snapshot

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
    from asfound.records.git import CannotReadHistory
    from asfound.refusals import CannotPublish

    if options.reason and not options.certificates:
        print(f"--reason is for certificates that are named\n  cure: name them, {NAMED} …", file=sys.stderr)
        return COULD_NOT_RUN
    files = files_of(options.records)
    if files is None:
        return COULD_NOT_RUN
    try:
        day = options.date or facility_day(files)
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
    except (CannotReadHistory, CannotPublish) as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    except FileExistsError as problem:
        there = Path(str(problem.filename)).as_posix()
        print(f"{there} is there already\n  cure: look at it; no certificate is written over", file=sys.stderr)
        return COULD_NOT_RUN
    said = _json(issued, refused) if options.json else _text(issued, refused, options)
    print(said)
    return FAULTS if refused and options.certificates else CLEAN


def facility_day(files: Snapshot) -> date:
    """Today at the facility, where approvals are dated too: a certificate is not of the day before its approval.

    Raises CannotPublish as `build_day` does.
    """
    from asfound.records.load import load
    from asfound.site.publishing.shell import build_day

    facility, _ = load({path: files[path] for path in ("facility.yml", "people.yml") if path in files})
    return build_day(facility.zone if facility is not None else None)


def _text(issued: Sequence[Issued], refused: Sequence[Refusal], options: argparse.Namespace) -> str:
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


def _json(issued: Sequence[Issued], refused: Sequence[Refusal]) -> str:
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
