"""`asfound review`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from asfound.commands.common import (
    CLEAN,
    FAULTS,
    QUIET_S,
    add_date,
    command,
    day_of,
    print_faults,
    told_after,
)
from asfound.refusals import Refusal


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "review",
        "say what a change means for results, sensors and certificates, and fail where it breaks a rule",
        "asfound review origin/main HEAD --annotations --output review.md",
    )
    parser.add_argument(
        "base",
        metavar="BASE",
        help="the branch that the change is to be merged into; compared is where HEAD left it (git: BASE...HEAD)",
    )
    parser.add_argument("head", metavar="HEAD", help="the commit or branch that is reviewed")
    add_date(parser)
    parser.add_argument(
        "--annotations", action="store_true", help="what fails it, as workflow commands that code review shows on lines"
    )
    parser.add_argument("--json", action="store_true", help="the review for programs, in place of Markdown")
    parser.add_argument(
        "--output", type=Path, metavar="FILE", help="where the Markdown (or JSON) goes; left out: to the screen"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.review.changes import repository_at
    from asfound.review.data import as_json
    from asfound.review.markdown import as_markdown
    from asfound.review.report import review

    day = day_of(options)
    repository = repository_at(options.records)
    with told_after(QUIET_S, "reading both commits and assessing what the change bears on …"):
        found = review(repository, options.base, options.head, day)
    prefix = repository.prefix
    if options.annotations:
        print_faults(found.faults, prefix, annotations=True)
    if options.output or not options.annotations:
        said = as_json(found, prefix) if options.json else as_markdown(found, prefix)
        if options.output is None:
            sys.stdout.write(said)
        else:
            try:
                options.output.write_text(said, encoding="utf-8", newline="\n")
            except OSError as problem:
                why = f"{options.output}: cannot be written ({problem.strerror})"
                raise Refusal(why, "name a file in a folder that is there") from None
    return FAULTS if found.fails else CLEAN
