"""What a change bears on is assessed, and nothing else: one new visit costs little however long the history is."""

from __future__ import annotations

from asfound.records.load import read
from asfound.review.concern import Concern, concern_of
from tests import builders as b
from tests.review.stores import FIRST, NEW, SECOND, path_of, visit

HALL, VAULT = "2026-02-21-hall", "2026-02-22-vault"
FILES = b.records(
    b.family("sedge"),
    b.sensor(),
    b.sensor("RH-2"),
    b.sensor("RH-3", installed=[{"serial": "RH-3-A", "family": "sedge", "from": "2000-01-01"}]),
    b.two_pressure(),
    b.two_pressure("GEN-02"),
    visit(FIRST),
    visit(SECOND),
    visit(HALL, sensor="RH-2"),
    {path: content.replace(b"GEN-01", b"GEN-02") for path, content in visit(VAULT, sensor="RH-3").items()},
)


def concern(changed: b.Files) -> Concern:
    """Of a change of the store's files."""
    known = {path.rpartition("/")[2][:-4] for path in FILES if path.startswith("visits/")}
    base = read({path: FILES[path] for path in changed if path in FILES})
    return concern_of(b.loaded(FILES | changed), base, changed, known)


def test_a_new_visit_reaches_its_own_sensor_and_reads_the_pool_of_its_family():
    found = concern(visit(NEW))
    assert found.positions == {"RH-1"} and found.by_pools == frozenset()
    assert found.own == {FIRST, SECOND, NEW}
    assert found.visits == {FIRST, SECOND, NEW, HALL}, "the vault's sensor is of another family"


def test_a_reference_reaches_every_sensor_that_was_read_with_it():
    found = concern(edited("references/GEN-02.yml"))
    assert found.positions == {"RH-3"} and VAULT in found.own and FIRST not in found.visits


def test_an_edited_visit_may_reach_later_visits_of_its_family_through_the_pool():
    found = concern({path_of(FIRST): visit(FIRST, 0.3)[path_of(FIRST)]})
    assert found.positions == {"RH-1"} and found.by_pools == {"RH-2"}


def test_the_last_visit_of_a_family_reaches_no_other_through_the_pool():
    found = concern({path_of(HALL): visit(HALL, 0.3, sensor="RH-2")[path_of(HALL)]})
    assert found.positions == {"RH-2"} and found.by_pools == frozenset()


def test_a_family_reaches_all_its_sensors():
    assert concern(edited("families/rush.yml")).positions == {"RH-1", "RH-2"}


def test_a_policy_reaches_everything_and_the_facilitys_name_nothing():
    assert concern(b.facility(policies={"rule": "simple_acceptance"})).positions == {"RH-1", "RH-2", "RH-3"}
    assert concern(b.facility(name="Another name")).positions == frozenset()


def edited(path: str) -> b.Files:
    """One of the store's files with another name in it."""
    return {path: FILES[path].replace(b'"name": "', b'"name": "The ', 1)}
