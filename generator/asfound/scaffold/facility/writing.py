"""Writing a new folder: nothing that is there is ever overwritten."""

from __future__ import annotations

import stat
from collections.abc import Mapping
from pathlib import Path

from asfound.refusals import Refusal
from asfound.scaffold.commits import mode_of


def refuse_what_is_there(folder: Path, *, may_be_repository: bool) -> None:
    """Raises Refusal unless the folder is missing or empty, or, where that is allowed, holds only a `.git`."""
    if folder.is_dir():
        held = {path.name for path in folder.iterdir()}
        if held <= ({".git"} if may_be_repository else set()):
            return
        what = f"the folder holds {min(held)!r}" + (" and more" if len(held) > 1 else "")
    elif folder.exists():
        what = "that is a file"
    else:
        return
    raise Refusal(f"{folder}: {what}, and nothing is overwritten", "name a new folder")


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """All files below the folder; hooks as programs."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        if mode_of(name) == "100755":
            path.chmod(path.stat().st_mode | stat.S_IXUSR | stat.S_IXGRP | stat.S_IXOTH)
