"""The list of rules is explicit: complete, without doubles, and the same whatever else was imported."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from functools import cache
from pathlib import Path

import asfound
from asfound.assessment.all_rules import ALL_RULES, FINDERS, rules_in

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


def test_what_rules_are_known_does_not_hang_on_what_else_was_imported():
    """`check` alone knows each rule that facility.yml may name under review_fails_on."""
    asked = "import asfound.assessment.assess; from asfound.faults import RULES; print(*sorted(RULES))"
    answer = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert ALL_RULES.keys() <= set(answer.stdout.split())
