"""What a change edits: YAML records, in words, and readings between the commits of its branch."""

from __future__ import annotations

from dataclasses import dataclass

from asfound.records.models.yaml_text import parse
from asfound.records.snapshot import EVIDENCE
from asfound.review.changed_readings import Alteration, alterations
from asfound.review.changed_settings import SettingChange, setting_changes
from asfound.review.changes import Change


@dataclass(frozen=True, kw_only=True)
class BranchEdit:
    """A visit that is new in the branch and was edited there after it had been committed."""

    path: str
    commit: str
    author: str
    day: str
    alterations: tuple[Alteration, ...]


@dataclass(frozen=True, kw_only=True)
class RecordChange:
    """One YAML record that is new, gone or says something else."""

    path: str
    kind: str
    """new, deleted or edited"""
    settings: tuple[SettingChange, ...]


def record_changes(change: Change) -> tuple[RecordChange, ...]:
    """The YAML records that are new, gone or say something else."""
    found = []
    for path in sorted(path for path in change.paths if path.endswith(".yml") and not path.startswith(EVIDENCE)):
        if path in change.added or path in change.deleted:
            kind = "new" if path in change.added else "deleted"
            found.append(RecordChange(path=path, kind=kind, settings=()))
            continue
        before, after = (parse(path, files[path])[0] for files in (change.base_files, change.head_files))
        if before is not None and after is not None:
            found.append(RecordChange(path=path, kind="edited", settings=setting_changes(before, after)))
    return tuple(found)


def branch_edits(change: Change) -> tuple[BranchEdit, ...]:
    """What was altered in visits of the branch after they had been committed there."""
    wanted = [
        (commit, edit)
        for commit in change.commits
        for edit in commit.edits
        if edit.before and edit.after and edit.path.startswith("visits/") and edit.path not in change.before
    ]
    read = change.repository.contents({blob for _, edit in wanted for blob in (edit.before, edit.after) if blob})
    found = []
    for commit, edit in wanted:
        altered = alterations(edit.path, read[edit.before or ""], read[edit.after or ""])
        kept = tuple(one for one in altered if one.column or not one.after)  # rows that come are no edit of readings
        if kept:
            found.append(
                BranchEdit(path=edit.path, commit=commit.commit, author=commit.author, day=commit.day, alterations=kept)
            )
    return tuple(found)
