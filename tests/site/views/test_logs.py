"""What a log becomes beside its results: chart and table of the visit, lines at the cart, remark and evidence."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asfound.assessment.assess import assess
from asfound.certificates.differences import differences
from asfound.certificates.recompute import CannotRecompute, recomputed
from asfound.certificates.statement import statements
from asfound.records.snapshot import from_folder, laid_over
from asfound.site.charts.logs import MOST_POINTS, thinned
from asfound.site.lookup.lookup import look_up
from asfound.site.views.logs import log_views
from asfound.stated.statement import document
from asfound.terminal.explain import as_text, explain_file
from tests.builders import Files, assessed, facility, records, sensor, two_pressure
from tests.certificates.certified import as_statement
from tests.logs import Run, log_rows, run_files

LOG, MAPPING_FILE, VISIT = "logs/2026-03-16-lab.csv", "logs/2026-03-16-lab.yml", "visits/2026/2026-03-16-lab.csv"
EARLY = Run(minutes=16, window_min=4, tau_min=2.0)


def files_of(run: Run = EARLY, **policy: object) -> Files:
    return records(facility(policies={"rule": "guard_band", **policy}), sensor(), two_pressure(), run_files(run))


@pytest.fixture(scope="module")
def files() -> Files:
    return files_of()


def test_the_page_draws_the_log_and_says_what_each_soak_came_to(files: Files):
    lookup = look_up(assessed(files))
    (view,) = log_views(lookup, lookup.visits["2026-03-16-lab"][0])
    assert view.sha256 == hashlib.sha256(files[LOG]).hexdigest()
    assert [row.point for row in view.rows] == ["20 %RH", "50 %RH", "80 %RH"]
    assert view.rows[0].window == "08:12 to 08:16" and view.rows[0].soak == "12 min"
    assert all(re.fullmatch(r"[+−]\d\.\d+ ± \d\.\d+ %RH", row.left) for row in view.rows)
    chart = json.loads(view.chart)
    assert chart["kind"] == "log" and chart["start"] == "2026-03-16T08:00:00"
    assert len(chart["seconds"]) == len(chart["sensor"]) == len(chart["reference"]) == len(chart["error"])
    for point, result in zip(chart["points"], lookup.visits["2026-03-16-lab"][0].results, strict=True):
        assert point["error"] == pytest.approx(result.error, rel=1e-9)
        samples = zip(chart["seconds"], chart["error"], strict=True)
        inside = [error for second, error in samples if point["from"] <= second <= point["until"]]
        assert np.mean(inside) == pytest.approx(result.error - result.settling_correction, abs=0.01)


def test_a_visit_says_how_many_minutes_of_waiting_it_could_have_saved():
    lookup = look_up(
        assessed(files_of(Run(minutes=60, tau_min=1.0, step_s=20.0), settling={"largest_left": "0.2 %RH"}))
    )
    (view,) = log_views(lookup, lookup.visits["2026-03-16-lab"][0])
    minutes = [int(row.saved.removesuffix(" min")) for row in view.rows]
    assert all(row.enough == "yes" for row in view.rows) and min(minutes) > 30
    assert f"{sum(minutes)} minutes of waiting could have been saved" in view.asked and "0.2 %RH (policy)" in view.asked


@given(st.integers(1, 40_000), st.integers(0, 2**32 - 1))
def test_a_thinned_series_keeps_its_ends_and_extremes(n: int, seed: int):
    rng = np.random.default_rng(seed)
    values, other = rng.normal(size=n), rng.normal(size=n)
    kept = thinned(n, (values, other))
    assert len(kept) <= MOST_POINTS and kept[0] == 0 and kept[-1] == n - 1 and (np.diff(kept) > 0).all()
    for series in (values, other):
        assert series[kept].min() == series.min() and series[kept].max() == series.max()


def test_a_log_without_any_reading_in_a_stretch_is_thinned_too():
    values = np.full(10_000, np.nan)
    values[7000] = 1.0
    assert 7000 in thinned(10_000, (values, values))


def test_the_certificate_names_the_log_and_freezes_it_and_comes_out_again_from_itself_alone(files: Files):
    (stated,) = statements(assessed(files))
    (remark,) = [text for text in stated.remarks if "log" in text]
    assert (
        LOG in remark
        and hashlib.sha256(files[LOG]).hexdigest() in remark
        and "20 %RH, 50 %RH rising, 80 %RH rising" in remark
    )
    frozen = {record.path: record for record in stated.evidence.records}
    assert frozen[LOG].content == files[LOG] and frozen[MAPPING_FILE].content == files[MAPPING_FILE]
    assert not differences(stated, recomputed(stated, files[VISIT]))


def test_a_tampered_log_gives_another_certificate(files: Files):
    (stated,) = statements(assessed(files))
    window = files[LOG].decode().replace("2026-03-16 08:14:00,20.", "2026-03-16 08:14:00,24.")
    assert window.encode() != files[LOG]
    altered = document(stated)
    for record in altered["evidence"]["records"]:
        if record["path"] == LOG:
            record["text"] = window
    assert differences(as_statement(altered), recomputed(as_statement(altered), files[VISIT]))
    altered["evidence"]["records"] = [r for r in altered["evidence"]["records"] if r["path"] != LOG]
    with pytest.raises(CannotRecompute, match="there is no log"):
        recomputed(as_statement(altered), files[VISIT])


def test_a_log_in_another_encoding_is_frozen_byte_for_byte(files: Files):
    content = files[LOG].decode().replace("Sensor", "Fühler").encode("cp1252")
    mapping = files[MAPPING_FILE].decode().replace("Sensor", "Fühler") + "encoding: cp1252\n"
    (stated,) = statements(assessed({**files, LOG: content, MAPPING_FILE: mapping.encode()}))
    assert not differences(stated, recomputed(stated, files[VISIT]))


def test_at_the_cart_the_log_may_lie_beside_the_visit(files: Files, tmp_path: Path):
    repository, cart = tmp_path / "records", tmp_path / "cart"
    for path, content in files.items():
        if not path.startswith(("logs/", "visits/")):
            (repository / path).parent.mkdir(parents=True, exist_ok=True)
            (repository / path).write_bytes(content)
    cart.mkdir()
    visit = files[VISIT].replace(b"2026-03-16-lab,2026", b"run-1.csv,2026").decode().splitlines()
    (cart / "2026-03-16-lab.csv").write_text("\n".join(visit[:3]) + "\n")  # the last point is still to do
    (cart / "run-1.csv").write_bytes(files[LOG])
    (cart / "run-1.yml").write_bytes(files[MAPPING_FILE])
    explained, path = explain_file(from_folder(repository), cart / "2026-03-16-lab.csv")
    text = as_text(explained)
    assert path == VISIT
    assert re.search(
        r"plateau 2: mean of 4 min of logs/run-1.csv; \+0\.\d+ ± 0\.\d+ %RH of the approach was left", text
    )
    assert "still to do: 80 %RH" in text


def test_the_window_of_a_log_that_still_grows_is_asked_for(files: Files):
    grown = files[LOG].decode().splitlines()[:60]
    early = {**files, LOG: "\n".join(grown).encode()}
    with pytest.raises(Exception, match="does not hold the whole window"):
        assessed(early)


def test_a_log_is_read_only_where_a_row_names_it(files: Files):
    read: list[str] = []

    def told(path: str) -> bytes:
        read.append(path)
        return files[path]

    left = {path: partial(told, path) for path in (LOG, "logs/2026-03-17-other.csv")}
    found = assess(
        laid_over({path: content for path, content in files.items() if path != LOG}, left), date(2026, 12, 31)
    )
    assert len(found.results) == 3
    assert set(read) == {LOG}


def test_times_of_a_window_are_local(files: Files):
    away = {**files, **facility(time_zone="Europe/Oslo")}
    logged = assessed(away).measurement.logged
    assert [datetime.fromtimestamp(one.start, UTC).hour for one in logged.values()] == [7, 7, 7]
    assert len(log_rows(EARLY)) == 3
