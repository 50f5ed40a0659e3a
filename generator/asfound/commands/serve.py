"""`asfound serve`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from asfound.commands.common import CLEAN, COULD_NOT_RUN, add_date, command, config_of, is_there


def add(commands: argparse._SubParsersAction) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "serve",
        "build, serve on localhost, and rebuild when a record changes",
        "asfound serve --port 8000",
    )
    add_date(parser, "the day that mkdocs.yml names, or today")
    parser.add_argument(
        "--site", type=Path, default=Path("site"), metavar="DIR", help="where the site goes (default: site)"
    )
    parser.add_argument("--port", type=int, default=8000, help="port on localhost (default: 8000)")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.refusals import CannotPublish
    from asfound.site.publishing.publish import serve_site

    if not is_there(options.records):
        return COULD_NOT_RUN
    try:
        serve_site(config_of(options.records), options.records, options.site, options.date, options.port)
    except CannotPublish as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    return CLEAN
