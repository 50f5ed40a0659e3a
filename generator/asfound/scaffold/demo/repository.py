"""The demo facility as a repository to try things on: its history, what it needs to build, and a branch to review."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from asfound.records.snapshot import Snapshot
from asfound.scaffold.commits import DemoCommit, Signature
from asfound.scaffold.demo.history import demo_history, main_tip
from asfound.scaffold.demo.story import FOLDER, TODAY
from asfound.scaffold.facility.empty_facility import empty_facility, kept_in

PACKAGE = Path(__file__).parents[2]
OWN = Path(__file__).parent / "demonstration"
OPEN_BRANCH = "packing-november"
VISIT = "2026-11-24-packing"
SLIP = (b",12.056,", b",12.506,")
"""A reading of the open visit, and how it was typed first."""
AT_THE_CART = datetime(2026, 11, 24, 16, 30)
CORRECTED = datetime(2026, 11, 25, 8, 20)
RECORDS_KEY = b"    records: records\n"
SITE_SET_UP = datetime(2026, 11, 23, 9, 0)


def demo_files() -> dict[str, bytes]:
    """The records of the demo facility, all bytes: the packaged copy, or the source tree's.

    Raises FileNotFoundError where the installation lacks them.
    """
    folder = next((f for f in (PACKAGE / "_demo_records", PACKAGE.parents[1] / "records") if f.is_dir()), None)
    if folder is None:
        raise FileNotFoundError("the demo's records are missing: install asfound again")
    return files_below(folder)


def files_below(folder: Path) -> dict[str, bytes]:
    """All files of a records' folder with their bytes, logs and attachments too, sorted by path."""
    paths = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    shown = {name for name in paths if not any(part.startswith(".") for part in name.split("/"))}
    return {name: paths[name].read_bytes() for name in sorted(shown)}


def demo_repository(files: Snapshot) -> tuple[DemoCommit, ...]:
    """The plan of the whole repository.

    What this version of asfound brings along (the site's set-up, the files of the forges) comes last, so that it
    moves no id of the records' own history.
    """
    history = demo_history(files)
    tip = main_tip(history)
    zone = tip.author.time.tzinfo
    keeper = history[0].author
    when = max(SITE_SET_UP.replace(tzinfo=zone), tip.committer.time + timedelta(hours=1))
    set_up = _commit("site", (tip.name,), _at(keeper, when), "Publish the records as a site\n", _shell(), "main")
    at_the_cart = _at(keeper, AT_THE_CART.replace(tzinfo=zone))
    fork = main_tip([commit for commit in history if commit.committer.time <= at_the_cart.time])
    return *history, set_up, *_open_branch(fork, at_the_cart)


def _shell() -> dict[str, bytes]:
    """The empty facility without its examples, and what the demo says in their place."""
    files = {name: c for name, c in empty_facility().items() if not name.startswith((FOLDER, "example/"))}
    files["mkdocs.yml"] = files["mkdocs.yml"].replace(RECORDS_KEY, RECORDS_KEY + _day_key())
    return files | {name: content for name, content in kept_in(OWN).items() if name != f"{VISIT}.csv"}


def _day_key() -> bytes:
    return f"    day: {TODAY} # on which the story ends; without this line the site is built for today\n".encode()


def _open_branch(fork: DemoCommit, at_the_cart: Signature) -> Sequence[DemoCommit]:
    """A visit that waits for its review; a reading was corrected after it was first committed."""
    path = f"{FOLDER}visits/2026/{VISIT}.csv"
    visit = (OWN / f"{VISIT}.csv").read_bytes()
    first = _commit(
        OPEN_BRANCH, (fork.name,), at_the_cart, f"{VISIT}: PAK-11\n", {path: visit.replace(*SLIP)}, OPEN_BRANCH
    )
    corrected = _at(at_the_cart, CORRECTED.replace(tzinfo=at_the_cart.time.tzinfo))
    words = f"{VISIT}: digits swapped at 50 %RH; paper sheet checked\n"
    second = _commit(f"{OPEN_BRANCH}/2", (first.name,), corrected, words, {path: visit}, OPEN_BRANCH)
    return first, second


def _at(who: Signature, when: datetime) -> Signature:
    return Signature(name=who.name, email=who.email, time=when)


def _commit(
    name: str, parents: tuple[str, ...], who: Signature, message: str, changes: dict[str, bytes], branch: str
) -> DemoCommit:
    return DemoCommit(
        name=name, parents=parents, author=who, committer=who, message=message, changes=changes, branch=branch
    )
