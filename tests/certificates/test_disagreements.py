"""Issued certificates against what is computed today: what counts as a difference, and what its cause is.

The records are invented. That 1e-6·U is where numbers differ is our choice; the scatter of a Monte Carlo quantile is
the standard error of an order statistic.
"""

from __future__ import annotations

import copy
import functools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.certificates.differences import Difference, _scatter, differences, differences_beside
from asfound.certificates.disagreements import disagreements
from asfound.stated.statement import Item, NotAStatement, Statement, document
from tests import builders as b
from tests.certificates.certified import VISIT, as_statement, plain
from tests.certificates.frozen_certificates import (
    PROBE_VISIT,
    every_issued,
    over_salts,
    pooled,
    story_document,
    through_a_probe,
    with_issued,
)

SCRATCH = settings(max_examples=40, deadline=None)


def moved(statement: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    """A copy in which one value is another."""
    altered = copy.deepcopy(statement)
    at: Any = altered
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return altered


def leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths of every number and text below a value."""
    if isinstance(value, dict):
        return [leaf for key, inner in value.items() for leaf in leaves(inner, (*path, key))]
    if isinstance(value, list):
        return [leaf for number, inner in enumerate(value) for leaf in leaves(inner, (*path, number))]
    return [path] if isinstance(value, str | int | float) and not isinstance(value, bool) else []


def at(statement: dict[str, Any], path: tuple[Any, ...]) -> Any:
    value: Any = statement
    for key in path:
        value = value[key]
    return value


ROW = ("results", 0, "rows", 0)
COMPUTED = [
    path
    for key in ("results", "decision", "conditions", "traceability", "item", "place", "words", "adjustments")
    for path in leaves(story_document()[key], (key,))
    if not {"plateau", "phase", "channel", "phase_words", "reservations", "certificate_number"} & set(path)
]


# What differs


def test_a_statement_does_not_differ_from_itself():
    statement = story_document()
    assert compared(statement, statement) == compared_beside(statement, statement) == ()


def compared(stated: dict[str, Any], computed: dict[str, Any]) -> tuple[Difference, ...]:
    """Differences of results, as of statements that are read."""
    return differences(as_statement(stated), as_statement(computed))


def compared_beside(stated: dict[str, Any], computed: dict[str, Any]) -> tuple[Difference, ...]:
    """Differences of what stands beside results."""
    return differences_beside(as_statement(stated), as_statement(computed))


@SCRATCH
@given(st.sampled_from(COMPUTED), st.sampled_from([0.001, -0.3, 5.0]))
def test_any_number_or_word_that_is_altered_is_found(path: tuple[Any, ...], share: float):
    statement = story_document()
    value = at(statement, path)
    other = f"{value}x" if isinstance(value, str) else value + (share * abs(value) or share)
    if isinstance(value, int):
        other = value + 1
    if path[-1] == "p_outside":
        other = value + 1e-5
    if path[-1] in ("nu", "nu_eff"):
        other = 30.0  # above a thousand, more of them make no difference
    altered = moved(statement, path, other)
    try:
        found = [*compared(altered, statement), *compared_beside(altered, statement)]
    except NotAStatement as refused:
        assert isinstance(value, str) and str(path[-1]) in str(refused), "a word of few, a day, or a number in words"
    else:
        assert found, path


@pytest.mark.parametrize("name", ["reference_value", "indication", "error", "u", "U", "tolerance"])
@pytest.mark.parametrize(("share", "found"), [(0.9e-6, False), (-0.9e-6, False), (1.1e-6, True), (-1.1e-6, True)])
def test_a_number_differs_from_a_millionth_of_U_on(name: str, share: float, found: bool):
    statement = story_document()
    row = at(statement, ROW)
    altered = moved(statement, (*ROW, name), row[name] + share * row["U"])
    assert [d.what for d in compared(statement, altered)] == ([name.replace("_", " ")] if found else [])


def test_a_difference_is_told_with_the_point_and_its_share_of_U():
    statement = story_document()
    altered = moved(moved(statement, (*ROW, "error"), 0.41), (*ROW, "U"), 0.375)
    altered = moved(altered, (*ROW, "indication"), at(statement, (*ROW, "indication")))
    statement = moved(moved(statement, (*ROW, "error"), 0.38), (*ROW, "U"), 0.375)
    (found,) = compared(statement, altered)
    assert found.words == "as found, humidity at 50 %RH: error +0.38 %RH stated, +0.41 computed; Δ = +0.030, 8.0 % of U"
    small = Difference(where="x", what="k", stated=2.0, computed=2.00004)
    assert small.words == "x: k 2.00000 stated, 2.00004 computed", "as many places as it takes to tell them apart"
    word = Difference(where="x", what="verdict", stated="pass", computed=None)
    assert word.words == "x: verdict “pass” stated, none computed"


def test_a_result_more_or_less_is_a_difference():
    statement = story_document()
    fewer = copy.deepcopy(statement)
    del fewer["results"][0]["rows"][1]
    assert [(d.what, d.stated, d.computed) for d in compared(statement, fewer)] == [("result", "given", None)]
    assert [(d.what, d.stated, d.computed) for d in compared(fewer, statement)] == [("result", None, "given")]


def test_what_only_a_newer_version_says_is_no_difference():
    class NewerItem(Item):
        colour: str = ""

    class NewerStatement(Statement):
        item: NewerItem

    statement = as_statement(story_document())
    item = NewerItem(**dict(statement.item), colour="grey")
    newer = NewerStatement(**{**dict(statement), "item": item})
    assert differences_beside(statement, newer) == ()
    assert differences_beside(newer, statement), "but what is stated must come out"


def drawn_statement() -> dict[str, Any]:
    """A certificate over salts, whose published uncertainty is rectangular: Monte Carlo decides."""
    ((statement, _),) = every_issued(over_salts())
    stated = document(statement)
    assert at(stated, ROW)["answer"]["kind"] == "monte carlo"
    return stated


def test_monte_carlo_answers_may_scatter_as_two_of_so_many_trials_do():
    statement = drawn_statement()
    U = at(statement, ROW)["U"]
    for name in ("U", "u"):
        value = at(statement, (*ROW, name))
        assert compared(statement, moved(statement, (*ROW, name), value * 1.004)) == ()
        assert compared(statement, moved(statement, (*ROW, name), value + 0.05 * U))
    error = at(statement, (*ROW, "error"))
    assert compared(statement, moved(statement, (*ROW, "error"), error + 2e-6 * U)), "no draw moves an error"


def test_the_scatter_of_monte_carlo_answers_is_that_of_drawn_quantiles():
    """The largest of 400 differences of two answers from a normal distribution stays inside, and is not far below."""
    rng, trials = np.random.default_rng(20261125), 2000
    draws = np.quantile(rng.standard_normal((800, trials)), 0.97725, axis=1)
    largest = np.max(np.abs(draws[::2] - draws[1::2]) / 2.0)
    both = (trials, trials)
    assert 0.5 * _scatter(both, 1.0) < largest < _scatter(both, 1.0)
    assert _scatter((4 * trials, 4 * trials), 1.0) == pytest.approx(_scatter(both, 1.0) / 2)
    assert _scatter((trials,), 1.0) == 0.0


# Causes


@functools.cache
def issued(kind: str) -> b.Files:
    return with_issued({"plain": plain, "pooled": pooled, "probe": through_a_probe}[kind]())


def causes(files: b.Files) -> dict[str, list[str]]:
    """Kinds of causes by certificate."""
    found = disagreements(b.assessed(files))
    return {one.issued.number: [cause.kind for cause in one.causes] for one in found}


def with_other(files: b.Files, path: str, old: bytes, new: bytes) -> b.Files:
    assert old in files[path], files[path]
    return files | {path: files[path].replace(old, new)}


@pytest.mark.parametrize("kind", ["plain", "pooled", "probe"])
def test_where_nothing_changed_all_agree(kind: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(
        "asfound.certificates.disagreements.computed", lambda inputs: pytest.fail("nothing needs computing again")
    )
    files = issued(kind)
    assert any(path.startswith("issued/") for path in files)
    assert disagreements(b.assessed(files)) == ()


@pytest.mark.parametrize(
    ("path", "old", "new", "cause"),
    [
        ("references/GEN-01.yml", b'"value": "0 degC"', b'"value": "0.05 degC"', "reference"),
        ("facility.yml", b'"rule": "guard_band"', b'"rule": "simple_acceptance"', "policy"),
        ("families/rush.yml", b'"absolute": "2 %RH"', b'"absolute": "0.5 %RH"', "record"),
        ("families/rush.yml", b'"repeatability": "0.05 %RH"', b'"repeatability": "0.4 %RH"', "record"),
        ("sensors/RH-1.yml", b'"installed"', b'"tolerance": {"absolute": "0.3 %RH"}, "installed"', "record"),
    ],
)
def test_the_cause_is_the_record_that_changed(path: str, old: bytes, new: bytes, cause: str):
    files = with_other(issued("plain"), path, old, new)
    (one,) = disagreements(b.assessed(files))
    assert [c.kind for c in one.causes] == [cause]
    assert path in one.causes[0].words
    assert one.cure == f'asfound issue-certificates RH-1/{VISIT} --reason "…"'


def test_a_change_that_moves_no_number_is_none():
    files = with_other(issued("plain"), "facility.yml", b"1 Mill Lane, Alderby", b"2 Mill Lane, Alderby")
    assert causes(files) == {}


def test_two_causes_are_both_named():
    files = with_other(issued("plain"), "facility.yml", b'"rule": "guard_band"', b'"rule": "simple_acceptance"')
    files = with_other(files, "references/GEN-01.yml", b'"value": "0 degC"', b'"value": "0.05 degC"')
    assert causes(files) == {f"RH-1/{VISIT}.r1": ["reference", "policy"]}


def test_a_pool_that_no_longer_holds_the_same_visits_is_the_cause():
    """One of the visits before is found to be a copy and withdrawn: later ones were judged with too sure a scatter."""
    files = dict(issued("pooled"))
    reason = {"sensor": "RH-2", "phase": "withdrawn", "reason": "the chamber stood open", "technician": "ann"}
    files |= b.visit("2026-03-20-lab", [reason], revision=2)
    found = causes(files)
    assert found["RH-1/2026-06-16-lab.r1"] == ["pool"]
    assert found["RH-2/2026-03-20-lab.r1"] == ["record"], "and of the withdrawn one itself"


def test_a_revised_visit_is_the_cause():
    files = dict(issued("plain"))
    rows = [b.plateau(t, [t + 0.6] * 3, b.generated(t), reason="read from the wrong sheet") for t in (50, 20, 80)]
    files |= b.visit(VISIT, *rows, revision=2)
    (one,) = disagreements(b.assessed(files))
    assert [c.words for c in one.causes] == [f"visits/2026/{VISIT}.r2.csv replaces what visits/2026/{VISIT}.csv held"]


def test_a_reference_that_another_calibration_here_would_move_is_the_cause():
    files = dict(issued("probe"))
    rows = [
        b.plateau(t, [t + 0.8] * 2, b.generated(t), sensor="PROBE-01", phase="as_left", reason="wrong sheet")
        for t in (20, 50, 80)
    ]
    files |= b.visit(PROBE_VISIT, *rows, revision=2)
    found = causes(files)
    assert found == {f"RH-1/{VISIT}.r1": ["reference"], f"PROBE-01/{PROBE_VISIT}.r1": ["record"]}


def test_other_code_is_the_cause_where_the_frozen_inputs_give_something_else():
    files = dict(issued("plain"))
    path = f"issued/RH-1/{VISIT}.r1.json"
    text = files[path].decode()
    files[path] = text.replace('"verdict": "pass"', '"verdict": "conditional"', 1).encode()
    (one,) = disagreements(b.assessed(files))
    assert [c.kind for c in one.causes] == ["code"]
    assert [d.what for d in one.differences] == ["verdict"]


def test_a_reference_that_failed_its_check_since_is_the_cause():
    """A certificate that would be withheld today no longer agrees: it must be known what the reference did to it."""
    probe = b.transfer_probe(check_limit={"humidity": "1 %RH"})
    files = with_issued(plain(probe, b.visit("2026-05-16-air", b.plateau(50, [50.1] * 3, b.by_probe(50.0)))))
    failed = b.visit("2026-06-20-check", b.plateau(50, [55.0] * 3, b.generated(50), sensor="PROBE-01", phase="check"))
    (one,) = disagreements(b.assessed(files | failed))
    assert one.issued.number == "RH-1/2026-05-16-air.r1"
    assert "reference-in-doubt" in one.differences[0].words
    assert [c.kind for c in one.causes] == ["reference"]


def test_only_the_newest_revision_of_a_certificate_must_agree():
    files = with_other(issued("plain"), "families/rush.yml", b'"absolute": "2 %RH"', b'"absolute": "0.5 %RH"')
    assert causes(files) == {f"RH-1/{VISIT}.r1": ["record"]}
    replaces = {"number": f"RH-1/{VISIT}.r1", "reason": "the tolerance was mistyped"}
    assert causes(with_issued(files, revision=2, replaces=replaces)) == {}


def test_of_very_many_what_changed_is_named_without_computing(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("asfound.certificates.disagreements.MOST_COMPUTED", 0)
    monkeypatch.setattr(
        "asfound.certificates.disagreements.computed", lambda inputs: pytest.fail("too many to compute")
    )
    files = with_other(issued("plain"), "families/rush.yml", b'"absolute": "2 %RH"', b'"absolute": "0.5 %RH"')
    assert causes(files) == {f"RH-1/{VISIT}.r1": ["record"]}
