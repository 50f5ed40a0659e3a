"""What the tests of the site share: a folder of records and a site of invented content."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from asfound.printing.templates import template_folders
from asfound.site.publishing import shell
from tests.site import sample


@pytest.fixture
def records(tmp_path: Path) -> Path:
    """A folder of records for the sample content: the text of note.txt stands on its Overview."""
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "note.txt").write_text("All is well.", encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def brief_manual(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fixed pages of a user in the place of the manual's, a line each: the manual is half of the work of a build."""
    folder = tmp_path_factory.mktemp("brief") / "fixed"
    shipped = template_folders()[-1] / "fixed"
    for page in shipped.rglob("*.md"):
        (folder / page.relative_to(shipped)).parent.mkdir(parents=True, exist_ok=True)
        (folder / page.relative_to(shipped)).write_text(f"# {page.stem}\n", encoding="utf-8")
    return folder


@pytest.fixture
def builder(monkeypatch: pytest.MonkeyPatch) -> Callable[[shell.Builder], None]:
    """Puts a builder in the place of the real one; at first the sample's."""

    def use(build: shell.Builder) -> None:
        monkeypatch.setattr(shell, "load_builder", lambda: build)

    use(sample.sample_content)
    return use


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too, by its path inside."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }
