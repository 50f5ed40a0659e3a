"""What the commands share: exit codes, options, the records' folder, faults as text, progress."""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from asfound.faults import Fault, in_order
from asfound.records.models.fields import parse_day
from asfound.records.snapshot import Snapshot, from_folder
from asfound.refusals import Refusal
from asfound.today import today

CLEAN, FAULTS, COULD_NOT_RUN = 0, 1, 2
QUIET_S = 2.0
"""Progress is told from here on."""


def command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    summary: str,
    example: str,
    *,
    records: bool = True,
) -> argparse.ArgumentParser:
    """A command with its summary, an example under its help, and --records, unless it reads none."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}.",
        epilog=f"example: {example}",
    )
    if records:
        folder = "the records' folder (default: records)"
        parser.add_argument("--records", type=Path, default=Path("records"), metavar="DIR", help=folder)
    return parser


def add_date(parser: argparse.ArgumentParser, otherwise: str = "today") -> None:
    """The day to assess on; `otherwise`: which it is where nobody says."""
    parser.add_argument(
        "--date",
        type=day_option,
        metavar="YYYY-MM-DD",
        help=f"the day to assess on (default: ASFOUND_DATE, or {otherwise})",
    )


def day_of(options: argparse.Namespace) -> date:
    """The day that is asked about: --date, else ASFOUND_DATE, else today where the facility is."""
    from asfound.records.load import zone_at  # late, as it brings in numpy

    day: date = options.date or today(zone_at(options.records))
    return day


def day_option(text: str) -> date:
    """The type of an option that is a day."""
    try:
        return parse_day(text)
    except ValueError as problem:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; write it as YYYY-MM-DD") from problem


@contextmanager
def told_after(seconds: float, text: str) -> Iterator[None]:
    """Says on stderr what is being done, where it takes longer."""
    timer = threading.Timer(seconds, lambda: print(text, file=sys.stderr, flush=True))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def files_of(records: Path) -> Snapshot:
    """The records of a folder. Raises Refusal where there is no such folder."""
    refuse_missing(records)
    return from_folder(records)


def refuse_missing(records: Path) -> None:
    """Raises Refusal where there is no folder of records."""
    if not records.is_dir():
        raise Refusal(f"{records}: there is no such folder", "give the records' folder with --records DIR")


def config_of(records: Path) -> Path | None:
    """The mkdocs.yml beside the records' folder or in the present one; None: the packaged shell."""
    for folder in (records.resolve().parent, Path.cwd()):
        if (folder / "mkdocs.yml").is_file():
            return folder / "mkdocs.yml"
    return None


def prefix_of(records: Path) -> str:
    """What stands before the path of a record where it is shown."""
    return f"{records.as_posix().rstrip('/')}/"


def print_faults(faults: Sequence[Fault], prefix: str, *, annotations: bool) -> None:
    """In order of place; `prefix`: what stands before their paths."""
    for fault in in_order(faults):
        print(fault.annotation(prefix) if annotations else fault.text(prefix))
