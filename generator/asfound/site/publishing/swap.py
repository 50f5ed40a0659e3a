"""Putting a new site in the place of the old one: all of it or nothing.

The new site is written into a folder beside the published one. When it is complete the two exchange their
names, in one system call where the platform has one. Elsewhere two renames do it, and a build that finds the
work of a killed one half done puts the old site back before it starts.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import sys
from pathlib import Path
from typing import IO

from asfound.refusals import Refusal

MARKER = ".asfound-site"
MARKER_TEXT = (
    "asfound writes this folder whole: what is put here by hand is gone after the next build.\n"
    "A folder that holds other things and not this file is never replaced.\n"
)


class StagedSite:
    """A site on its way: written at `staging`, later published at `site`, one build at a time."""

    def __init__(self, site: Path) -> None:
        self.site = site.resolve()
        self.staging = self.site.with_name(f".{self.site.name}.next")
        self.previous = self.site.with_name(f".{self.site.name}.previous")
        self._lock_path = self.site.with_name(f".{self.site.name}.lock")
        self._lock: IO[bytes] | None = None

    def begin(self) -> None:
        """Take the folder, clear what a killed build left and make an empty staging folder.

        Raises Refusal where another build of the same site runs, or where the folder is not ours to
        replace.
        """
        try:
            self.site.parent.mkdir(parents=True, exist_ok=True)
            self._lock = _locked(self._lock_path)
            self._recover()
            _refuse_foreign(self.site)
            self.staging.mkdir()
        except OSError as problem:
            self.discard()
            raise Refusal(
                f"{self.site} cannot be written: {problem.strerror}",
                "name another folder for the site, or give yourself the right to write there",
            ) from problem
        except Refusal:
            self._unlock()
            raise

    def publish(self) -> None:
        """Exchange the finished site with the published one and remove the old."""
        (self.staging / MARKER).write_text(MARKER_TEXT, encoding="utf-8", newline="\n")
        try:
            self._exchange()
        except OSError as problem:
            raise Refusal(
                f"{self.site} cannot be replaced: {problem.strerror}; the old site stands",
                "close what holds the folder open; where it is a mount point, name a folder inside it",
            ) from problem
        finally:
            self.discard()

    def discard(self) -> None:
        """Remove what was staged, whatever its state, and let the next build begin."""
        if self._lock is not None:
            shutil.rmtree(self.staging, ignore_errors=True)
            self._unlock()

    def _exchange(self) -> None:
        if not self.site.exists():
            os.rename(self.staging, self.site)
        elif not exchange_at_once(self.staging, self.site):
            os.rename(self.site, self.previous)
            try:
                os.rename(self.staging, self.site)
            except OSError:
                os.rename(self.previous, self.site)
                raise
            shutil.rmtree(self.previous, ignore_errors=True)

    def _recover(self) -> None:
        if self.previous.exists():
            if self.site.exists():
                shutil.rmtree(self.previous)
            else:
                os.rename(self.previous, self.site)
        if self.staging.exists():
            shutil.rmtree(self.staging)

    def _unlock(self) -> None:
        if self._lock is not None:
            if os.name == "nt":
                self._lock.close()  # an open file cannot be removed there
            self._lock_path.unlink(missing_ok=True)
            self._lock.close()
            self._lock = None


def _refuse_foreign(site: Path) -> None:
    """Raise Refusal where the folder holds what no build of ours wrote."""
    if not site.exists():
        return
    if not site.is_dir():
        raise Refusal(f"{site} is a file", "name a folder for the site")
    names = {entry.name for entry in os.scandir(site)}
    if names and MARKER not in names:
        raise Refusal(
            f"{site} holds files that asfound did not write; replacing the folder would lose them",
            "name another folder for the site, or empty this one",
        )
    if ".git" in names:
        raise Refusal(
            f"{site} is a git working tree; replacing the folder would lose its .git",
            "name a folder of its own for the site and copy from there",
        )


def exchange_at_once(one: Path, other: Path) -> bool:
    """Exchange the names of two folders in one system call; false where that cannot be had.

    Linux since 3.15 has renameat2 with RENAME_EXCHANGE (its manual page gives the numbers), but not on every
    file system.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    here, exchange = -100, 2
    failed = rename(here, os.fsencode(one), here, os.fsencode(other), ctypes.c_uint(exchange))
    return not failed


def _locked(path: Path) -> IO[bytes]:
    """The lock file, opened and held; the system lets go of it when the process ends, however it ends."""
    while True:
        lock = open(path, "ab")  # noqa: SIM115 - held open until the build ends
        try:
            _hold(lock)
            if os.path.exists(path) and os.path.samestat(os.fstat(lock.fileno()), os.stat(path)):
                return lock
        except BlockingIOError:
            lock.close()
            raise Refusal(
                f"another build of {path.name.removeprefix('.').removesuffix('.lock')} is running",
                "wait for it, or name another folder for the site",
            ) from None
        lock.close()  # the build that held it has just removed it


def _hold(lock: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        try:
            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as problem:
            raise BlockingIOError from problem
    else:
        import fcntl

        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
