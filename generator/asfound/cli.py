"""The command line: `asfound COMMAND`; each command is a module of `commands`."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence

from asfound import __version__
from asfound.commands import (
    build,
    check,
    completion,
    due,
    explain,
    issue_certificates,
    new,
    retrace,
    review,
    round,
    serve,
    sheet,
    soak,
    targets,
    verify,
)
from asfound.commands.common import COULD_NOT_RUN, FAULTS, prefix_of, print_faults
from asfound.faults import FilesRefused, RecordsRefused, Severity
from asfound.refusals import Refusal

COMMANDS = (
    check,
    build,
    serve,
    due,
    round,
    targets,
    sheet,
    explain,
    soak,
    review,
    issue_certificates,
    verify,
    retrace,
    new,
    completion,
)
"""in the order of `--help`"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code: 0 clean, 1 faults, 2 could not run."""
    _utf8_output()
    suit_the_work()
    parser = _parser()
    completion.complete(parser)
    options = parser.parse_args(arguments)
    try:
        return int(options.run(options))
    except RecordsRefused as refused:
        errors = [fault for fault in refused.faults if fault.rule.severity is Severity.ERROR]
        print_faults(errors, prefix_of(options.records), annotations=False)
        return FAULTS
    except FilesRefused as refused:
        print_faults(refused.faults, "", annotations=False)
        return FAULTS
    except Refusal as refusal:
        print(refusal, file=sys.stderr)
        return COULD_NOT_RUN
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return COULD_NOT_RUN


def suit_the_work() -> None:
    """Set up the process, before numpy is loaded, for many small objects that stay and many small matrices.

    One thread each is several times faster than threads that wait for each other, and the last digits are the same
    on any number of cores.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(200_000, 50, 100)


def _utf8_output() -> None:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="asfound",
        description="Humidity-sensor calibration records in git: checked, recomputed, published as a site.",
    )
    parser.add_argument("--version", action="version", version=f"asfound {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for module in COMMANDS:
        module.add(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
