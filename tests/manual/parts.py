"""What of the manual is made from the code: tables of columns, keys, rules and commands, and the functions' texts."""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import itertools
import pkgutil
import re
import types
from collections.abc import Iterable
from datetime import date
from functools import partial
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

import asfound
from asfound import cli, humidity
from asfound.faults import Rule, Severity
from asfound.records.methods import NEEDED
from asfound.records.models import RECORD_MODELS
from asfound.records.models.fields import Amount, Id, Record, Text, _Written
from asfound.records.models.periods import Known, _OneOrMore
from asfound.records.models.references import Kind
from asfound.records.models.sensors import SensorSettings
from asfound.records.models.spreads import AloneOrByBands
from asfound.records.visits.columns import COLUMNS, REQUIRED, Column
from asfound.scaffold.old_lists import old_results, old_sensors
from asfound.scaffold.old_lists.lists import ListColumn
from asfound.tables.columns import TABLES, Table
from asfound.tables.columns import Column as PublishedColumn
from asfound.units import symbols

PATHS = {
    "facility": "`facility.yml`",
    "people": "`people.yml`",
    "family": "`families/MODEL.yml`",
    "sensor": "`sensors/SENSOR.yml`",
    "reference": "`references/REFERENCE.yml`",
    "finding": "`findings/SENSOR/VISIT.yml`",
    "log": "`logs/NAME.yml`, or one `logs/mapping.yml`",
}


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A table of a forge's Markdown; what is in a cell stands on one line."""
    heads = tuple(heads)
    lines = [heads, ["---"] * len(heads), *([_cell(cell) for cell in row] for row in rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def _words(words: Iterable[object]) -> str:
    return ", ".join(f"`{word}`" for word in words)


# ---- Columns of a visit -------------------------------------------------------------------------------------------


def columns() -> str:
    """Every column of a visit's CSV."""
    rows = ((f"`{column.name}`", _stands_in(column), column.meaning) for column in COLUMNS.values())
    return _table(("column", "what stands in it", "meaning"), rows)


def _stands_in(column: Column) -> str:
    if column.choices:
        said = _words(column.choices)
    elif column.quantities:
        said = " or ".join(column.quantities)
    else:
        said = "number" if column.plain_number else "text"
    return f"{said}; in every row" if column.name in REQUIRED else said


def units() -> str:
    """The units of each quantity that a header may name."""
    quantities = dict.fromkeys(quantity for column in COLUMNS.values() for quantity in column.quantities)
    return _table(("quantity", "units"), ((name, _words(symbols(name))) for name in quantities))


def list_columns() -> str:
    """Columns of the old lists that `new` takes in."""
    tables = (
        f"A list of sensors:\n\n{_list_table(old_sensors.COLUMNS)}",
        f"A list of results:\n\n{_list_table(old_results.COLUMNS)}",
    )
    return "\n\n".join(tables)


def _list_table(known: Iterable[ListColumn]) -> str:
    rows = ((f"`{column.name}`", _stands_in_list(column), column.meaning) for column in known)
    return _table(("column", "what stands in it", "meaning"), rows)


def _stands_in_list(column: ListColumn) -> str:
    if column.choices:
        said = _words(column.choices)
    elif column.quantities:
        said = " or ".join(column.quantities)
    else:
        said = "day" if column.is_day else "number" if column.plain_number else "text"
    return f"{said}; in every row" if column.required else said


# ---- Keys of the records ------------------------------------------------------------------------------------------


def keys() -> str:
    """The keys of every kind of record, then those of the parts inside them."""
    parts: dict[str, type[Record]] = {}
    sections = []
    for kind, model in RECORD_MODELS.items():
        inherited = issubclass(model, SensorSettings)
        more = "\n\nTo these come the [settings of a sensor](#settings-of-a-sensor)." if inherited else ""
        own = _key_table(model, parts, without=SensorSettings if inherited else None)
        about = _line(model)
        where = f"{PATHS[kind]}." if about == f"{PATHS[kind].strip('`')}." else f"{PATHS[kind]}. {about}"
        sections.append(f"### {kind.capitalize()}\n\n{where}\n\n{own}{more}")
    settings = _key_table(SensorSettings, parts)
    sections.append(f"### Settings of a sensor\n\n{_line(SensorSettings)}\n\n{settings}")
    done: set[str] = set()
    below = []
    while left := sorted(set(parts) - done):
        for name in left:
            below.append((name, f"### {name}\n\n{_line(parts[name])}\n\n{_key_table(parts[name], parts)}"))
            done.add(name)
    return "\n\n".join([*sections, *(text for _, text in sorted(below))])


def _line(model: type[Record]) -> str:
    return " ".join((model.__doc__ or "").split())


def _key_table(model: type[Record], parts: dict[str, type[Record]], *, without: type[Record] | None = None) -> str:
    hints = get_type_hints(model, include_extras=True)
    rows = []
    for name, field in model.model_fields.items():
        if without is not None and name in without.model_fields:
            continue
        stands = _stands(hints[name], parts) + _bounds(field.metadata)
        left_out = "needed" if field.is_required() else _default(field)
        rows.append((f"`{field.alias or name}`", stands, left_out, field.description or ""))
    return _table(("key", "what stands there", "left out", "meaning"), rows)


def _default(field: Any) -> str:
    extra = field.json_schema_extra
    value = extra["default"] if isinstance(extra, dict) and "default" in extra else field.default
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if value == {}:
        return "as its keys say"
    if value is None or value in ((), ""):
        return ""
    return f"`{value}`"


_SIGNS = {"ge": "≥", "gt": ">", "le": "≤", "lt": "<"}


def _bounds(metadata: Iterable[Any]) -> str:
    said = [f"{sign} {getattr(one, name):g}" for one in metadata for name, sign in _SIGNS.items() if hasattr(one, name)]
    return f" {', '.join(said)}" if said else ""


def _stands(hint: Any, parts: dict[str, type[Record]]) -> str:
    """What may be written for a type, in words."""
    if isinstance(hint, TypeVar):
        return "amount of the same"
    if hint == Id:
        return "id"
    if hint == Text:
        return "text"
    if hint == Kind:
        return _words(NEEDED)
    origin, inside = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _annotated(inside[0], inside[1:], parts)
    if origin in (Union, types.UnionType):
        return " or ".join(_stands(one, parts) for one in inside if one is not type(None))
    if origin is Literal:
        return _words(inside)
    if origin is tuple:
        return f"list: {_stands(inside[0], parts)}"
    if origin is dict:
        return f"{_stands(inside[0], parts)}, each with {_stands(inside[1], parts)}"
    if isinstance(hint, type) and issubclass(hint, AloneOrByBands):
        parts[hint.__name__] = hint
        alone = _stands(Annotated[Amount, *hint.model_fields["value"].metadata], parts)
        return f"{alone}, or [{hint.__name__}](#{hint.__name__.lower()})"
    if isinstance(hint, type) and issubclass(hint, Record):
        parts[hint.__name__] = hint
        return f"[{hint.__name__}](#{hint.__name__.lower()})"
    if isinstance(hint, type) and hasattr(hint, "__members__"):
        return _words(str(one) for one in hint)
    return {bool: "`true` or `false`", int: "whole number", float: "number", str: "text", date: "day"}[hint]


def _annotated(base: Any, marks: tuple[Any, ...], parts: dict[str, type[Record]]) -> str:
    for mark in marks:
        if isinstance(mark, _Written):
            per = f" per {mark.per}" if mark.per else ""
            return f"amount of {' or '.join(mark.quantities)}{per}"
        if isinstance(mark, _OneOrMore) and mark.bare:
            entry = get_args(base)[0].__pydantic_generic_metadata__
            value = _stands(entry["args"][0], parts)
            if entry["origin"] is Known:
                return f"{value}, or a list of `value` with `from`"
            return f"{value}, or {_stands(entry['origin'], parts)}, or a list of them with `from`"
        if isinstance(mark, _OneOrMore):
            return f"{_stands(get_args(base)[0], parts)}, or a list of them with `from`"
    return _stands(base, parts)


# ---- Rules --------------------------------------------------------------------------------------------------------


def _all_rules() -> list[Rule]:
    """Every rule of the package, whatever room it is made in."""
    ours: dict[str, Rule] = {}
    for module in pkgutil.walk_packages(asfound.__path__, "asfound."):
        if not module.name.endswith("__main__"):
            values = vars(importlib.import_module(module.name)).values()
            ours |= {value.name: value for value in values if isinstance(value, Rule)}
    return [ours[name] for name in sorted(ours)]


def errors() -> str:
    """The rules that block a build."""
    found = (rule for rule in _all_rules() if rule.severity is Severity.ERROR and not rule.of_changes)
    return _table(("rule", "found when"), ((f"`{rule.name}`", rule.summary) for rule in found))


def reservations() -> str:
    """The rules whose findings are published with their results."""
    found = (rule for rule in _all_rules() if rule.severity is Severity.RESERVATION)
    rows = ((f"`{r.name}`", r.summary, _withheld(r.withholds_verdict, r.withholds_certificate)) for r in found)
    return _table(("rule", "found when", "the result has"), rows)


def _withheld(verdict: bool, certificate: bool) -> str:
    said = [word for word, withheld in (("no verdict", verdict), ("no certificate", certificate)) if withheld]
    return ", ".join(said)


def rules_of_changes() -> str:
    """The rules that only a review can find broken."""
    found = (rule for rule in _all_rules() if rule.of_changes)
    return _table(("rule", "found when"), ((f"`{rule.name}`", rule.summary) for rule in found))


# ---- Commands -----------------------------------------------------------------------------------------------------


def commands() -> str:
    """Every command with its example and its options, as `--help` has them."""
    actions = cli._parser()._actions
    (choices,) = (action.choices for action in actions if isinstance(action, argparse._SubParsersAction))
    return "\n\n".join(_command(name, parser) for name, parser in choices.items())


def _command(name: str, parser: argparse.ArgumentParser) -> str:
    example = (parser.epilog or "").removeprefix("example: ") % ()
    rows = [(_option(action), _help(action)) for action in parser._actions if action.dest != "help"]
    about = f"### {name}\n\n{parser.description}\n\nFor example `{example}`."
    return f"{about}\n\n{_table(('argument', 'meaning'), rows)}" if rows else about


def _option(action: argparse.Action) -> str:
    named = ", ".join(action.option_strings)
    given = action.metavar or (",".join(map(str, action.choices)) if action.choices else action.dest.upper())
    takes = action.nargs != 0
    value = given if isinstance(given, str) else " ".join(given)
    return f"`{' '.join(filter(None, (named, value if takes else '')))}`"


def _help(action: argparse.Action) -> str:
    return (action.help or "").replace("%%", "%")


# ---- Functions of asfound.humidity --------------------------------------------------------------------------------


def functions() -> str:
    """Every name of `asfound.humidity` with its docstring, by what it is about."""
    return "\n\n".join(f"### {name}\n\n{_described(name)}" for name in humidity.__all__)


def _described(name: str) -> str:
    value = getattr(humidity, name)
    if not callable(value):
        return f"{_docstring_of_constant(name)} {_words(value)}."
    parameters = inspect.signature(value).parameters.values()
    shown, starred = [], False
    for parameter in parameters:
        if parameter.kind is parameter.KEYWORD_ONLY and not starred:
            shown.append("*")
            starred = True
        default = "" if parameter.default is parameter.empty else f"={parameter.default!r}"
        shown.append(parameter.name + default)
    text = _as_markdown(inspect.getdoc(value) or "", [parameter.name for parameter in parameters])
    return f"`{name}({', '.join(shown)})`\n\n{text}"


def _docstring_of_constant(name: str) -> str:
    for module in pkgutil.iter_modules(humidity.__path__, "asfound.humidity."):
        body = ast.parse(inspect.getsource(importlib.import_module(module.name))).body
        for statement, after in itertools.pairwise(body):
            target = getattr(statement, "target", None)
            if isinstance(target, ast.Name) and target.id == name and isinstance(after, ast.Expr):
                assert isinstance(after.value, ast.Constant)
                return " ".join(str(after.value.value).split())
    raise LookupError(f"{name} has no docstring")


def _as_markdown(docstring: str, names: list[str]) -> str:
    """A docstring's paragraphs; where one describes parameters, they become a list."""
    paragraphs = (" ".join(paragraph.split()) for paragraph in docstring.split("\n\n"))
    return "\n\n".join(_with_list(paragraph, names) for paragraph in paragraphs)


_AFTER_THE_LIST = re.compile(r"(?<=\. )(?:Returns|Raises|Source|All broadcast|Other arguments)\b")


def _with_list(text: str, names: list[str]) -> str:
    one = f"(?:{'|'.join(names)})"
    begins = list(re.finditer(rf"(?:^|(?<=\. ))({one}(?:, {one})*): ", text))
    if not begins:
        return text
    after = _AFTER_THE_LIST.search(text, begins[-1].end())
    end = after.start() if after else len(text)
    ends = [*(match.start() for match in begins[1:]), end]
    listed = [
        f"- {_words(match[1].split(', '))}: {text[match.end() : until].strip()}"
        for match, until in zip(begins, ends, strict=True)
    ]
    whole = (text[: begins[0].start()].strip(), "\n".join(listed), text[end:].strip())
    return "\n\n".join(part for part in whole if part)


# ---- Published data -----------------------------------------------------------------------------------------------


def published(table: Table) -> str:
    """Every column of a published table."""
    rows = ((f"`{column.name}`", _what_stands(column), column.meaning) for column in table.columns)
    key = f"No two rows share {', '.join(f'`{name}`' for name in table.key)}."
    return f"{key}\n\n{_table(('column', 'what stands in it', 'meaning'), rows)}"


def _what_stands(column: PublishedColumn) -> str:
    word = {"whole": "whole number", "list": "texts", "time": "time, UTC"}.get(column.kind, column.kind)
    return f"{word} ({column.unit})" if column.unit else word


PARTS = {
    **{f"published {table.name}": partial(published, table) for table in TABLES},
    "columns": columns,
    "units": units,
    "columns of old lists": list_columns,
    "keys": keys,
    "errors": errors,
    "reservations": reservations,
    "rules of changes": rules_of_changes,
    "commands": commands,
    "functions": functions,
}
