"""Records opened by a program: the numbers of the site, with what their history approves."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

import asfound
from asfound.faults import RecordsRefused
from asfound.refusals import Refusal
from asfound.site.publishing.build import site_content
from asfound.tables.columns import RESULTS
from tests.git_histories import History
from tests.repositories import minimal

DAY = date(2026, 12, 31)


def test_a_program_gets_the_numbers_of_the_site_with_what_its_history_approves(tmp_path: Path):
    history = History(tmp_path / "store", minimal())
    site = site_content(history.records, DAY, tmp_path, say=lambda text: None)
    published = pd.read_csv(io.BytesIO(site.files["data/results.csv"]), keep_default_na=False)
    for path in (history.root, str(history.records)):
        opened = asfound.open(path, DAY)
        assert (opened.day, opened.commit) == (DAY, history.head)
        assert tuple(opened.results.columns) == RESULTS.names
        for name in ("error", "expanded_uncertainty", "nu_eff", "verdict", "approval", "certificate"):
            assert opened.results[name].tolist() == published[name].tolist(), name
        assert set(opened.results.approval) == {"not reviewed"}, "one person recorded and committed it all"


def test_its_frames_are_typed_and_say_where_there_is_nothing():
    results = asfound.open(Path(__file__).parents[1] / "minimal_records", DAY).results
    assert results.error.dtype == float and str(results.time.dtype).startswith("datetime64")
    assert str(results.time.dt.tz) == "UTC"
    assert results.revision.tolist() == [1] * len(results)
    assert results.p_outside.isna().equals(results.p_outside_below.notna())


def test_what_is_no_folder_of_records_is_refused(tmp_path: Path):
    with pytest.raises(Refusal, match="holds no records"):
        asfound.open(tmp_path)


def test_records_with_errors_are_refused_with_all_their_faults(tmp_path: Path):
    history = History(tmp_path / "store", minimal() | {"sensors/X-1.yml": b"name: [\n"})
    with pytest.raises(RecordsRefused) as refused:
        asfound.open(history.root, DAY)
    assert [fault.place.path for fault in refused.value.faults] == ["sensors/X-1.yml"]
