"""`asfound build`."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from asfound.commands.common import CLEAN, add_date, command, config_of, refuse_missing


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    from asfound.site.publishing.publish import build_site

    refuse_missing(options.records)
    started = time.monotonic()
    published = build_site(config_of(options.records), options.records, options.site, options.date)
    took = time.monotonic() - started
    print(f"published {published.pages} pages and {published.files} files at {published.site} in {took:.1f} s")
    return CLEAN
