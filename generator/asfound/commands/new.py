"""`asfound new`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from asfound.commands.common import CLEAN, command
from asfound.refusals import Refusal

if TYPE_CHECKING:
    from asfound.scaffold.old_lists.from_lists import Brought

NEXT = """\
Records whose first line says EXAMPLE are to be replaced, or deleted. It checks and builds as it is. Next, in {folder}:
  asfound serve        the site on this machine
  asfound check        after each change
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
  asfound serve
  asfound review main packing-november
  git log --graph --oneline main
"""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "new",
        "write an empty facility into a new folder, with all that its repository needs, or the demo facility",
        "asfound new our-records --git",
        records=False,
    )
    parser.add_argument("directory", type=Path, metavar="DIRECTORY", help="the new folder; nothing is overwritten")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--git", action="store_true", help="make it a repository and commit it, in your name")
    what.add_argument(
        "--demo", action="store_true", help="the demo facility as a repository with its whole history, to try things on"
    )
    parser.add_argument(
        "--sensors", type=Path, metavar="LIST.csv", help="bring in an old list of sensors, one row each"
    )
    parser.add_argument(
        "--history",
        type=Path,
        metavar="LIST.csv",
        help="with it old results, one row each, as stated at their time; a column that neither list knows is answered "
        "with all that it may have",
    )
    parser.add_argument(
        "--days", metavar="FORMAT", help="how the lists write days, e.g. %%d.%%m.%%Y (default: YYYY-MM-DD)"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    folder: Path = options.directory
    if (options.history and not options.sensors) or (options.demo and options.sensors):
        raise Refusal("old results need the list of their sensors", "give --sensors too, and leave out --demo")
    for given in (options.sensors, options.history):
        if given is not None and not given.is_file():
            raise Refusal(f"{given}: there is no such file", "export the list as CSV UTF-8")
    try:
        print(_demo(folder) if options.demo else _empty(options), end="")
    except OSError as problem:
        raise Refusal(f"{folder}: {problem.strerror}", "name a folder that can be written to") from None
    return CLEAN


def _empty(options: argparse.Namespace) -> str:
    from asfound.scaffold.facility.empty_facility import empty_facility
    from asfound.scaffold.facility.first_commit import first_commit, refuse_without_identity
    from asfound.scaffold.facility.writing import refuse_what_is_there, write_files

    folder: Path = options.directory
    refuse_what_is_there(folder, may_be_repository=True)
    if options.git:
        refuse_without_identity(folder)
    brought = _brought(options) if options.sensors else None
    files = brought.files if brought else empty_facility()
    write_files(folder, files)
    said = f"wrote {len(files)} files to {folder}\n"
    if brought:
        said += (
            f"from the lists: {brought.sensors} sensors of {brought.models} models at {brought.places} places, "
            f"{brought.visits} visits; {brought.reservations} reservations (asfound check --reservations)\n"
        )
    said += NEXT.format(folder=folder)
    if not options.git:
        return said + WITHOUT_GIT
    return said + f"committed as {first_commit(folder)[:10]}; the hook that checks each commit is on\n"


def _brought(options: argparse.Namespace) -> Brought:
    from asfound.scaffold.old_lists.from_lists import facility_from_lists
    from asfound.scaffold.old_lists.lists import ListFile

    sensors, history = (
        ListFile(path=path.name, content=path.read_bytes()) if path is not None else None
        for path in (options.sensors, options.history)
    )
    assert sensors is not None
    return facility_from_lists(sensors, history, options.days)


def _demo(folder: Path) -> str:
    from asfound.scaffold.commits import write_repository
    from asfound.scaffold.demo.repository import demo_files, demo_repository
    from asfound.scaffold.facility.writing import refuse_what_is_there

    refuse_what_is_there(folder, may_be_repository=False)
    commits = demo_repository(demo_files())
    ids = write_repository(folder, commits)
    said = f"wrote the demo facility to {folder}: {len(commits)} commits, main at {ids['site'][:10]}\n"
    return said + DEMO_NEXT.format(folder=folder)
