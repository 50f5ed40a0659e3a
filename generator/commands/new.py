"""`hygrotrail new`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from generator.commands.common import CLEAN, COULD_NOT_RUN, command

NEXT = """\
Every file below records/ is an example: replace those whose first line says EXAMPLE, or delete them.
It checks and builds as it is. Next, in {folder}:
  hygrotrail serve        the site on this machine
  hygrotrail check        after each change
"""
WITHOUT_GIT = """\
and to begin its history:
  git init -b main
  git add --all && git add --chmod=+x .githooks/pre-commit
  git commit -m "Begin the records"
  git config core.hooksPath .githooks
"""
DEMO_NEXT = """\
Next, in {folder} (more in its README.md):
  hygrotrail serve --date 2026-11-25
  hygrotrail review main packing-november
  git log --graph --oneline main
"""


def add(commands: argparse._SubParsersAction) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "new",
        "write an empty facility into a new folder, with all that its repository needs, or the demo facility",
        "hygrotrail new our-records --git",
        records=False,
    )
    parser.add_argument("directory", type=Path, metavar="DIRECTORY", help="the new folder; nothing is overwritten")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--git", action="store_true", help="make it a repository and commit it, in your name")
    what.add_argument(
        "--demo", action="store_true", help="the demo facility as a repository with its whole history, to try things on"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from generator.scaffold.commits import CannotMakeRepository
    from generator.scaffold.writing import FolderInUse

    folder: Path = options.directory
    try:
        print(_demo(folder) if options.demo else _empty(folder, commit=options.git), end="")
    except (FolderInUse, CannotMakeRepository) as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    except OSError as problem:
        print(f"{folder}: {problem.strerror}\n  cure: name a folder that can be written to", file=sys.stderr)
        return COULD_NOT_RUN
    return CLEAN


def _empty(folder: Path, *, commit: bool) -> str:
    from generator.scaffold.facility import empty_facility
    from generator.scaffold.first_commit import first_commit
    from generator.scaffold.writing import refuse_what_is_there, write_files

    refuse_what_is_there(folder, may_be_repository=True)
    files = empty_facility()
    write_files(folder, files)
    said = f"wrote {len(files)} files to {folder}\n{NEXT.format(folder=folder)}"
    if not commit:
        return said + WITHOUT_GIT
    return said + f"committed as {first_commit(folder)[:10]}; the hook that checks each commit is on\n"


def _demo(folder: Path) -> str:
    from generator.scaffold.commits import write_repository
    from generator.scaffold.demonstration import demo_files, demo_repository
    from generator.scaffold.writing import refuse_what_is_there

    refuse_what_is_there(folder, may_be_repository=False)
    commits = demo_repository(demo_files())
    ids = write_repository(folder, commits)
    said = f"wrote the demo facility to {folder}: {len(commits)} commits, main at {ids['site'][:10]}\n"
    return said + DEMO_NEXT.format(folder=folder)
