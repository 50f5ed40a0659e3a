"""The computing modules as one namespace: as they are, or with a slip of the pen in one of them.

Checks that take this namespace hold for the program and must fail for a slip: so the tests are tested too.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.abc import InspectLoader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import asfound
from asfound.faults import RULES

MODULES = {
    "asfound.statistics": ("control_charts", "least_squares"),
    "asfound.uncertainty": ("budgets", "covariance", "duals", "formulations", "sources", "terms"),
    "asfound.measurement": (
        "calibrations", "cell_sources", "evaluation", "indications", "lines", "measure", "monte_carlo", "reading_table",
        "reference_inputs", "reference_values", "repeatability", "shifts", "visit_curves",
    ),
    "asfound.measurement.methods": ("chilled_mirror", "saturated_salt", "transfer_probe", "two_pressure", "registry"),
    "asfound.assessment": ("assess", "due", "pipeline", "standing"),
    "asfound.assessment.results": ("adjustment", "assembly", "conformity", "judging", "slots", "summary", "table"),
    "asfound.assessment.history": (
        "change_charts", "drift", "epochs", "instruments", "interval", "line", "outlook", "reliability",
        "visit_to_visit",
    ),
    "asfound.assessment.references": ("checks", "doubt", "recalibrations"),
    "asfound.assessment.findings": ("cases", "error_curve", "error_path", "exposure", "investigation"),
    "asfound.retrace": ("carried_back", "retrace"),
}  # fmt: skip
ROOMS = tuple(sorted({".".join(package.split(".")[:2]) for package in MODULES}))

Program = Any
"""A namespace of modules: `program.budgets.make_budgets`, …"""


@dataclass(frozen=True)
class Slip:
    """A text of a module that is replaced by another; it must stand there once or more."""

    module: str
    was: str
    becomes: str

    @property
    def full_name(self) -> str:
        """The module's name with its package."""
        return next(f"{package}.{self.module}" for package, names in MODULES.items() if self.module in names)


def as_it_is() -> Program:
    """The program."""
    found = {name: importlib.import_module(f"{package}.{name}") for package, names in MODULES.items() for name in names}
    return SimpleNamespace(**found)


@contextmanager
def with_slip(slip: Slip | None) -> Iterator[Program]:
    """The program imported anew with the slip made; afterwards the modules are again those from before."""
    as_it_is()
    kept = {name: module for name, module in sys.modules.items() if name.startswith(ROOMS)}
    rules = dict(RULES)
    finder = _Finder(slip)
    for name in kept:
        del sys.modules[name]
    RULES.clear()  # each module registers its own once more
    sys.meta_path.insert(0, finder)
    try:
        program = as_it_is()
        for name, rule in rules.items():
            RULES.setdefault(name, rule)
        yield program
    finally:
        sys.meta_path.remove(finder)
        for name in [name for name in sys.modules if name.startswith(ROOMS)]:
            del sys.modules[name]
        sys.modules.update(kept)
        for room in ROOMS:
            setattr(asfound, room.rpartition(".")[2], kept[room])
        RULES.clear()
        RULES.update(rules)


class _Finder(MetaPathFinder):
    def __init__(self, slip: Slip | None) -> None:
        self.slip = slip

    def find_spec(self, name: str, path: Sequence[str] | None, target: ModuleType | None = None) -> ModuleSpec | None:
        if self.slip is None or name != self.slip.full_name:
            return None
        file = Path(asfound.__file__).parent.joinpath(*name.split(".")[1:]).with_suffix(".py")
        text = file.read_text(encoding="utf-8")
        assert self.slip.was in text, f"the slip no longer fits {name}: {self.slip.was}"
        return spec_from_loader(name, _Loader(file, text.replace(self.slip.was, self.slip.becomes)))


class _Loader(InspectLoader):
    def __init__(self, file: Path, text: str) -> None:
        self.file, self.text = file, text

    def get_source(self, name: str) -> str:
        return self.text

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = str(self.file)
        exec(compile(self.text, str(self.file), "exec"), module.__dict__)
