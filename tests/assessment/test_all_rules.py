"""The list of rules is explicit: complete, without doubles, and the same whatever else was imported."""

from __future__ import annotations

import ast
import importlib
from functools import cache
from pathlib import Path

import asfound
from asfound.assessment.all_rules import ALL_RULES, FINDERS, rules_in
from asfound.assessment.assess import check
from asfound.assessment.named_rules import REVIEW_RULE_UNKNOWN
from asfound.faults import Fault, Severity
from tests.repositories import minimal

ABOVE = ("asfound.printing.unprintable", "asfound.review.rules")
"""Rooms above that have rules of their own."""
SOURCE = Path(asfound.__file__).parent


@cache
def defined() -> dict[str, list[str]]:
    """Names of the rules that each module of the package defines, read from its source."""
    found: dict[str, list[str]] = {}
    for path in sorted(SOURCE.rglob("*.py")):
        module = ".".join(path.relative_to(SOURCE.parent).with_suffix("").parts)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            match node:
                case ast.Call(
                    func=ast.Name(id="error" | "reservation" | "change_error"), args=[ast.Constant(value=name), *_]
                ):
                    found.setdefault(module, []).append(name)
    return found


def test_every_module_that_defines_a_rule_is_listed_once():
    listed = [module.__name__ for module in FINDERS]
    assert len(listed) == len(set(listed))
    assert {*listed, *ABOVE} == defined().keys()


def test_every_rule_is_listed_and_no_two_have_one_name():
    names = [name for module in defined().values() for name in module]
    assert len(names) == len(set(names)) >= 150
    above = rules_in(importlib.import_module(name) for name in ABOVE)
    assert {*ALL_RULES, *above} == set(names)


def test_a_review_fails_on_any_reservation_and_on_nothing_else():
    text = minimal()["facility.yml"].decode()
    ours = [name for name, rule in ALL_RULES.items() if rule.severity is Severity.RESERVATION]
    assert len(ours) >= 16 and faults_of_review(text, ours) == []
    (misspelt,) = faults_of_review(text, ["bad-luck"])
    assert misspelt.place.line == 13 and "no reservation" in misspelt.message
    (error,) = faults_of_review(text, ["bad-number"])
    assert "it always fails" in error.message and error.cure == "remove it"


def faults_of_review(facility: str, names: list[str]) -> list[Fault]:
    files = minimal() | {"facility.yml": f"{facility}review_fails_on: [{', '.join(names)}]\n".encode()}
    return [fault for fault in check(files) if fault.rule is REVIEW_RULE_UNKNOWN]
