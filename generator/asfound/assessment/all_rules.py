"""Every rule about records: the modules that define them, each beside the code that finds it, are listed here.

The Data page takes them from here: what is known does not hang on what happens to be imported. Two rooms above have
rules of their own: certificates (a character that cannot be printed) and review (rules about changes).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType, ModuleType

from asfound.assessment import named_rules
from asfound.assessment.references import doubt
from asfound.assessment.results import assembly, elsewhere, judging, plausibility, saturation
from asfound.assessment.results import loops as loops_of_results
from asfound.faults import Rule
from asfound.measurement import calibrations, evaluation, indications, measure
from asfound.measurement.methods import saturated_salt, two_pressure
from asfound.records import issued as issued_of_records
from asfound.records import load
from asfound.records.models import model_rules, yaml_text
from asfound.records.rules import (
    dated_settings,
    declared,
    identities,
    instruments,
    links,
    loops,
    methods,
    people,
    phases,
    readings,
)
from asfound.records.rules import issued as issued_of_rules
from asfound.records.trends import exports, files
from asfound.records.visits import csv_text, field_values, header, local_time, visit_files
from asfound.soak import log_rows, raw_log

FINDERS: tuple[ModuleType, ...] = (
    named_rules,
    doubt,
    assembly,
    elsewhere,
    judging,
    loops_of_results,
    plausibility,
    saturation,
    calibrations,
    indications,
    evaluation,
    measure,
    saturated_salt,
    two_pressure,
    issued_of_records,
    load,
    model_rules,
    yaml_text,
    dated_settings,
    declared,
    identities,
    instruments,
    issued_of_rules,
    links,
    loops,
    methods,
    people,
    phases,
    readings,
    exports,
    files,
    csv_text,
    field_values,
    header,
    local_time,
    visit_files,
    log_rows,
    raw_log,
)
"""The modules that define rules about records, as far as this room sees."""


def rules_in(modules: Iterable[ModuleType]) -> dict[str, Rule]:
    """The rules that modules name, by name."""
    return {rule.name: rule for module in modules for rule in vars(module).values() if isinstance(rule, Rule)}


ALL_RULES: Mapping[str, Rule] = MappingProxyType(rules_in(FINDERS))
