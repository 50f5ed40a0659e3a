"""The architecture's one direction of imports, held: modules lean on layers below their own, in no circle.

The source is parsed, not run, so an import inside a function or for annotations only counts like any other:
an arrow that points the wrong way is wrong wherever it is written.
"""

from __future__ import annotations

import ast
import graphlib
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = "asfound"

# Bottom first. A name stands for the module or the package of that name with all inside it.
LAYERS = (
    {"asfound"},
    {"asfound.units", "asfound.faults", "asfound.rounding", "asfound.refusals", "asfound.today"},
    {"asfound.humidity", "asfound.statistics", "asfound.uncertainty", "asfound.records"},
    {"asfound.soak", "asfound.provenance", "asfound.stated"},
    {"asfound.measurement"},
    {"asfound.assessment"},
    {"asfound.retrace", "asfound.wording", "asfound.tables"},
    {"asfound.planning", "asfound.printing"},
    {"asfound.certificates"},
    {"asfound.sheets"},
    {"asfound.site", "asfound.scaffold"},
    {"asfound.terminal"},
    {"asfound.review"},
    {"asfound.commands"},
    {"asfound.cli"},
    {"asfound.__main__"},
)
# Rooms of one layer do not know each other. humidity, statistics and uncertainty are front doors for other programs:
# they bring no records along.
SHARED = LAYERS[1]
# `asfound.open`, which imports what is above it when it is called.
FRONT_DOOR = ("asfound", "asfound.tables.opened")
HUMIDITY_MAY_IMPORT = {PACKAGE, "numpy"} | sys.stdlib_module_names

Sources = Mapping[str, str]
"""The text of each file by its path inside the project, with forward slashes."""


def sources_of(root: Path) -> dict[str, str]:
    return {
        path.relative_to(root).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted((root / PACKAGE).rglob("*.py"))
    }


def module_name(path: str) -> str:
    parts = PurePosixPath(path).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported_names(path: str, text: str) -> Iterator[tuple[int, str]]:
    """Every (line, dotted name) that a file imports; for `from a import b` the name is `a.b`."""
    package = PurePosixPath(path).parts[:-1]
    for node in ast.walk(ast.parse(text, filename=path)):
        match node:
            case ast.Import(names=names):
                yield from ((node.lineno, alias.name) for alias in names)
            case ast.ImportFrom(module=module, names=names, level=level):
                above = package[: len(package) - level + 1] if level else ()
                origin = ".".join([*above, *([module] if module else [])])
                yield from ((node.lineno, f"{origin}.{alias.name}") for alias in names)
            case ast.Call(
                func=ast.Attribute(attr="import_module") | ast.Name(id="import_module"),
                args=[ast.Constant(value=str(name)), *_],
            ):
                yield node.lineno, name


def internal_imports(sources: Sources) -> dict[str, dict[str, str]]:
    """For each module, the modules of the package that it imports, each with its `path:line`."""
    modules = {module_name(path) for path in sources}
    found: dict[str, dict[str, str]] = {module: {} for module in modules}
    for path, text in sources.items():
        for line, name in imported_names(path, text):
            if name.split(".")[0] == PACKAGE:
                target = name if name in modules else name.rpartition(".")[0]  # `from module import function`
                if (module_name(path), target) == FRONT_DOOR:
                    continue
                found[module_name(path)].setdefault(target, f"{path}:{line}")
    return found


def layer_of(module: str) -> tuple[int, str] | None:
    """The height of a module's layer and the name that stands for the module there."""
    for height, names in enumerate(LAYERS):
        for name in names:
            if module == name or (name != PACKAGE and module.startswith(f"{name}.")):
                return height, name
    return None


def modules_without_layer(sources: Sources) -> list[str]:
    return [f"{path}: no layer; give it one in LAYERS" for path in sources if layer_of(module_name(path)) is None]


def wrong_way_imports(sources: Sources) -> list[str]:
    wrong = []
    for module, targets in internal_imports(sources).items():
        for target, place in targets.items():
            own, other = layer_of(module), layer_of(target)
            if own is None or other is None:
                continue
            if other[0] > own[0]:
                wrong.append(f"{place}: {module} imports {target}, which is above it")
            elif other[0] == own[0] and other[1] != own[1] and not {own[1], other[1]} <= SHARED:
                wrong.append(f"{place}: {module} imports {target}; the two must not know each other")
    return wrong


def circular_imports(sources: Sources) -> list[str]:
    try:
        graphlib.TopologicalSorter(internal_imports(sources)).prepare()
    except graphlib.CycleError as circle:
        # graphlib names each module before the one that imports it
        return ["in a circle: " + " imports ".join(reversed(circle.args[1]))]
    return []


def heavy_humidity_imports(sources: Sources) -> list[str]:
    return [
        f"{path}:{line}: humidity needs numpy only, not {name}"
        for path, text in sources.items()
        if path.startswith(f"{PACKAGE}/humidity/")
        for line, name in imported_names(path, text)
        if name.split(".")[0] not in HUMIDITY_MAY_IMPORT
    ]


def forbidden_imports(sources: Sources) -> list[str]:
    return [
        *modules_without_layer(sources),
        *wrong_way_imports(sources),
        *circular_imports(sources),
        *heavy_humidity_imports(sources),
    ]


def test_imports_follow_the_architecture():
    sources = sources_of(ROOT / "generator")
    assert "asfound/__init__.py" in sources
    assert forbidden_imports(sources) == []


def test_the_front_door_opens_only_when_it_is_used():
    code = "import asfound, sys; print([name for name in sys.modules if name.startswith('asfound.')])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


ALLOWED = {
    "asfound/__init__.py": '__version__ = "1"',
    "asfound/units.py": "from asfound.faults import error",
    "asfound/faults.py": "",
    "asfound/humidity/__init__.py": "from asfound.humidity.vapour import pressure",
    "asfound/humidity/vapour.py": "import math\nimport numpy as np\nfrom ..units import PASCAL",
    "asfound/records/__init__.py": "",
    "asfound/records/models.py": "from pydantic import BaseModel\nfrom . import visits",
    "asfound/records/visits.py": "from asfound import __version__, units",
    "asfound/assessment/verdicts.py": "from asfound.humidity import f\nimport asfound.records.models",
    "asfound/cli.py": "def main():\n    from asfound.assessment.verdicts import table",
    "asfound/__main__.py": "from asfound.cli import main",
}


def test_allowed_imports_are_allowed():
    assert forbidden_imports(ALLOWED) == []


@pytest.mark.parametrize(
    ("path", "text", "complaint"),
    [
        (
            "units.py",
            "import asfound.records.models",
            "units.py:1: asfound.units imports asfound.records",
        ),
        ("units.py", "from asfound import cli", "asfound.units imports asfound.cli, which is above it"),
        ("units.py", "def f():\n    from . import cli", "units.py:2: asfound.units imports asfound.cli"),
        ("units.py", "import_module('asfound.cli')", "asfound.units imports asfound.cli"),
        ("__init__.py", "from asfound.units import PASCAL", "asfound imports asfound.units"),
        (
            "records/rules.py",
            "from ..assessment.verdicts import E",
            "imports asfound.assessment.verdicts, which",
        ),
        (
            "records/rules.py",
            "from asfound.humidity import vapour",
            "asfound.humidity.vapour; the two must not",
        ),
        (
            "humidity/salts.py",
            "from asfound.records import models",
            "asfound.records.models; the two must not",
        ),
        ("humidity/salts.py", "import scipy.optimize", "salts.py:1: humidity needs numpy only, not scipy"),
        ("humidity/vapour.py", "from asfound.humidity import pressure", "in a circle: asfound.humidity"),
        (
            "records/visits.py",
            "if TYPE_CHECKING:\n    from . import models",
            "in a circle: asfound.records.",
        ),
        ("helpers.py", "", "asfound/helpers.py: no layer"),
    ],
)
def test_forbidden_imports_are_caught(path: str, text: str, complaint: str):
    forbidden = forbidden_imports(ALLOWED | {f"{PACKAGE}/{path}": text})
    assert any(complaint in line for line in forbidden), forbidden
