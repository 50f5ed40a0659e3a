"""Every rule on its minimal bad record: the exact diagnostic, with place and cure."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import asfound.assessment
import asfound.measurement
import asfound.records
import asfound.soak
import asfound.units
from asfound.assessment.assess import check
from asfound.faults import Severity
from tests.repositories import bad_record_folders, bad_records, diagnostics, expected, minimal, rules_of

PACKAGES = (asfound.units, asfound.records, asfound.soak, asfound.measurement, asfound.assessment)
"""Whose rules need a bad record here."""
CHECK = check
FOLDERS = bad_record_folders()
_DIAGNOSTIC = re.compile(r"records/\S+:\d+:\d+: (error|reservation)\[([a-z0-9-]+)\] \S.*\n  cure: \S.*\n")


def rules() -> dict:
    return {name: rule for package in PACKAGES for name, rule in rules_of(package).items()}


def test_the_minimal_records_are_good():
    assert diagnostics(minimal(), CHECK) == ""


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_bad_record_gives_exactly_its_diagnostic(folder: Path):
    assert diagnostics(bad_records(folder), CHECK) == expected(folder)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_bad_record_breaks_its_own_rule_and_no_other(folder: Path):
    found = _DIAGNOSTIC.findall(expected(folder))
    assert expected(folder) == "".join(match[0] for match in _DIAGNOSTIC.finditer(expected(folder)))
    assert {name for _, name in found} == {folder.name}
    assert {severity for severity, _ in found} == {str(rules()[folder.name].severity)}


def test_every_rule_has_its_bad_record():
    assert sorted(rules()) == [folder.name for folder in FOLDERS]
    assert len(rules()) >= 50


def test_every_rule_is_documented_in_words():
    for name, rule in rules().items():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", name), name
        assert len(rule.summary.split()) >= 4, name
        assert rule.summary[-1] not in ".!", name


def test_only_a_reservation_withholds_something():
    for name, rule in rules().items():
        if rule.severity is Severity.ERROR:
            assert not rule.withholds_verdict and not rule.withholds_certificate, name


def test_a_bad_record_changes_only_what_its_rule_is_about():
    """A bad record that repeats a good file says nothing."""
    good = minimal()
    for folder in FOLDERS:
        bad = bad_records(folder)
        written = [p.relative_to(folder / "records").as_posix() for p in folder.glob("records/**/*.*")]
        assert all(bad[path] != good.get(path) for path in written), folder.name
