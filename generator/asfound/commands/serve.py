"""`asfound serve`."""

from __future__ import annotations

import argparse
from pathlib import Path

from asfound.commands.common import CLEAN, add_date, command, config_of, refuse_missing


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    from asfound.site.publishing.publish import serve_site

    refuse_missing(options.records)
    serve_site(config_of(options.records), options.records, options.site, options.date, options.port)
    return CLEAN
