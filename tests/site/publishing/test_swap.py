"""A new site takes the old one's place whole or not at all, and never that of something else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from asfound.refusals import Refusal
from asfound.site.publishing import swap
from asfound.site.publishing.swap import MARKER, StagedSite
from tests.site.conftest import tree


def publish(site: Path, text: str) -> None:
    staged = StagedSite(site)
    staged.begin()
    (staged.staging / "index.html").write_text(text, encoding="utf-8")
    staged.publish()


@pytest.fixture(params=["in one system call", "in two renames"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    """Both ways of exchanging two folders; the first only where the platform has it."""
    if request.param == "in two renames":
        monkeypatch.setattr(swap, "exchange_at_once", lambda one, other: False)
    else:
        for name in ("one", "other"):
            (tmp_path / name).mkdir()
        if not swap.exchange_at_once(tmp_path / "one", tmp_path / "other"):
            pytest.skip("this platform or file system cannot exchange two folders in one call")
        for name in ("one", "other"):
            (tmp_path / name).rmdir()
    return request.param


def test_the_new_site_replaces_the_old_whole(way: str, tmp_path: Path):
    site = tmp_path / "site"
    publish(site, "old")
    (site / "left-over.html").write_text("", encoding="utf-8")
    publish(site, "new")
    assert {name: text for name, text in tree(site).items() if name != MARKER} == {"index.html": b"new"}
    assert [path.name for path in tmp_path.iterdir()] == ["site"], "nothing is left beside it"


def test_until_it_is_published_the_old_site_stands(way: str, tmp_path: Path):
    site = tmp_path / "site"
    publish(site, "old")
    staged = StagedSite(site)
    staged.begin()
    (staged.staging / "index.html").write_text("half", encoding="utf-8")
    assert (site / "index.html").read_text(encoding="utf-8") == "old"
    staged.discard()
    assert (site / "index.html").read_text(encoding="utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_build_killed_between_two_renames_is_undone_by_the_next(tmp_path: Path):
    site = tmp_path / "site"
    publish(site, "old")
    os.rename(site, tmp_path / ".site.previous")
    (tmp_path / ".site.next").mkdir()
    staged = StagedSite(site)
    staged.begin()
    assert (site / "index.html").read_text(encoding="utf-8") == "old"
    assert tree(staged.staging) == {}
    staged.discard()


def test_a_build_killed_after_the_exchange_leaves_the_new_site(tmp_path: Path):
    site = tmp_path / "site"
    publish(site, "new")
    (tmp_path / ".site.previous").mkdir()
    (tmp_path / ".site.previous" / "index.html").write_text("old", encoding="utf-8")
    publish(site, "newer")
    assert (site / "index.html").read_text(encoding="utf-8") == "newer"
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_failed_second_rename_brings_the_old_site_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    site = tmp_path / "site"
    publish(site, "old")
    monkeypatch.setattr(swap, "exchange_at_once", lambda one, other: False)
    rename = os.rename

    def failing(source: Path, target: Path) -> None:
        if Path(source).name == ".site.next":
            raise PermissionError(13, "Permission denied")
        rename(source, target)

    monkeypatch.setattr(os, "rename", failing)
    staged = StagedSite(site)
    staged.begin()
    with pytest.raises(Refusal, match="Permission denied; the old site stands\n  cure: "):
        staged.publish()
    assert (site / "index.html").read_text(encoding="utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


@pytest.mark.parametrize(
    ("name", "complaint"),
    [("thesis.txt", "holds files that asfound did not write"), (".git", "holds files that asfound")],
)
def test_a_folder_with_other_things_in_it_is_never_replaced(name: str, complaint: str, tmp_path: Path):
    site = tmp_path / "site"
    site.mkdir()
    (site / name).write_text("ten years of work", encoding="utf-8")
    with pytest.raises(Refusal, match=complaint):
        StagedSite(site).begin()
    assert tree(site) == {name: b"ten years of work"}


def test_a_git_working_tree_is_not_replaced_even_if_it_holds_a_site(tmp_path: Path):
    site = tmp_path / "site"
    publish(site, "old")
    (site / ".git").mkdir()
    with pytest.raises(Refusal, match="is a git working tree"):
        StagedSite(site).begin()


def test_a_file_in_the_place_of_the_site_is_refused(tmp_path: Path):
    (tmp_path / "site").write_text("", encoding="utf-8")
    with pytest.raises(Refusal, match="is a file"):
        StagedSite(tmp_path / "site").begin()


def test_a_folder_that_cannot_be_made_is_refused_with_the_cure(tmp_path: Path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(Refusal, match=r"cannot be written: .*\n  cure: name another folder"):
        StagedSite(tmp_path / "file" / "site").begin()


def test_two_builds_of_one_site_do_not_mix(tmp_path: Path):
    first, second = StagedSite(tmp_path / "site"), StagedSite(tmp_path / "site")
    first.begin()
    with pytest.raises(Refusal, match="another build of site is running"):
        second.begin()
    first.discard()
    second.begin()
    second.discard()


def test_a_killed_build_does_not_lock_the_site_for_ever(tmp_path: Path):
    script = (
        "import os, sys; from pathlib import Path; from asfound.site.publishing.swap import StagedSite;"
        "staged = StagedSite(Path(sys.argv[1])); staged.begin(); os._exit(9)"
    )
    root = Path(__file__).parents[3]
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "site")], cwd=root, check=False)
    assert (tmp_path / ".site.next").is_dir(), "the killed build left its work"
    publish(tmp_path / "site", "new")
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path):
    (tmp_path / "disk").mkdir()
    publish(tmp_path / "disk" / "site", "old")
    (tmp_path / "link").symlink_to(tmp_path / "disk" / "site", target_is_directory=True)
    publish(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "disk" / "site" / "index.html").read_text(encoding="utf-8") == "new"
