"""`asfound build`."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from asfound.commands.common import CLEAN, COULD_NOT_RUN, add_date, command, config_of, is_there


def add(commands: argparse._SubParsersAction) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "build",
        "check the records, recompute everything, publish the site: all or nothing",
        "asfound build --site public --date 2026-11-25",
    )
    add_date(parser, "the day that mkdocs.yml names, or today")
    parser.add_argument(
        "--site",
        type=Path,
        default=None,
        metavar="DIR",
        help="where the site goes (default: what mkdocs.yml says, else site)",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.refusals import CannotPublish
    from asfound.site.publishing.publish import build_site

    if not is_there(options.records):
        return COULD_NOT_RUN
    started = time.monotonic()
    try:
        published = build_site(config_of(options.records), options.records, options.site, options.date)
    except CannotPublish as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    took = time.monotonic() - started
    print(f"published {published.pages} pages and {published.files} files at {published.site} in {took:.1f} s")
    return CLEAN
