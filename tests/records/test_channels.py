"""A channel is declared once, stands in everything that is made of it, and no code takes it for another."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from asfound.measurement.visit_curves import CALIBRATED_HERE
from asfound.records.channels import Channel
from asfound.records.models.references import QUANTITIES
from asfound.records.models.sensors import SensorSettings
from asfound.records.rules.dated_settings import _CHANNEL_KEYS, _NEEDED
from asfound.records.rules.loops import _OUTPUTS
from asfound.records.rules.readings import plausible_range
from asfound.records.visits.columns import COLUMNS, INDICATIONS
from asfound.review.judging import JUDGING
from asfound.units import CANONICAL, UNITS
from asfound.wording import words

SOURCE = Path(__file__).parents[2] / "generator" / "asfound"


@pytest.mark.parametrize("channel", Channel)
def test_a_channel_is_called_by_a_quantity_and_shown_in_its_unit(channel: Channel) -> None:
    assert channel.unit == CANONICAL[channel.value]
    assert channel.declaration.symbol == words.unit(channel.unit)
    assert channel.declaration.tolerance_example.endswith(f" {channel.unit}")


@pytest.mark.parametrize("channel", Channel)
def test_a_visit_has_columns_for_a_channel(channel: Channel) -> None:
    output, far_end = channel.declaration.columns
    assert COLUMNS[output].quantities == (channel.value, "current", "voltage")
    assert COLUMNS[far_end].quantities == (channel.value,)
    for column in channel.declaration.columns:
        assert plausible_range(column, UNITS[channel.unit]) == channel.declaration.believed


@pytest.mark.parametrize("channel", Channel)
def test_a_sensors_file_has_keys_for_a_channel(channel: Channel) -> None:
    assert {*channel.setting_keys} <= {*SensorSettings.model_fields}


@pytest.mark.parametrize("channel", Channel)
def test_a_reference_can_measure_what_a_channel_shows(channel: Channel) -> None:
    assert QUANTITIES[channel.declaration.reference] == channel.value


def test_no_two_channels_share_a_column_a_key_or_a_quantity() -> None:
    assert len({*INDICATIONS}) == len(INDICATIONS) == 2 * len(Channel)
    keys = [key for channel in Channel for key in channel.setting_keys]
    assert len({*keys}) == len(keys)
    assert len({channel.declaration.reference for channel in Channel}) == len(Channel)


@pytest.mark.parametrize("channel", Channel)
def test_a_channel_stands_in_every_table(channel: Channel) -> None:
    assert {*channel.declaration.columns} <= {*INDICATIONS}
    assert _OUTPUTS[channel.declaration.output] is channel
    assert CALIBRATED_HERE[channel.declaration.reference] is channel
    assert {key for key, of in _CHANNEL_KEYS.items() if of is channel} == {*channel.setting_keys}
    assert channel.declaration.tolerance in _NEEDED
    assert {*channel.judging_keys} <= {*JUDGING} & {*channel.setting_keys}


# What is of one channel alone may select it: whatever is of another channel then gets nothing. What gives the others
# something must ask them what, by their declaration or by a `match` that mypy sees to be exhaustive.


def _member(node: ast.AST) -> bool:
    """`Channel.HUMIDITY`, or its name as a string."""
    match node:
        case ast.Attribute(value=ast.Name(id="Channel")):
            return True
        case ast.Constant(value=str(word)):
            return word in {*Channel}
    return False


def _channel(node: ast.AST) -> bool:
    """`channel`, `r.channel`, `r.channel.value`."""
    match node:
        case ast.Name(id="channel") | ast.Attribute(attr="channel"):
            return True
        case ast.Attribute(value=inner, attr="value"):
            return _channel(inner)
    return False


def _selected(test: ast.expr) -> bool | None:
    """Whether a condition holds for one channel only (True), for all but one (False), or tells none from another."""
    for node in ast.walk(test):
        if isinstance(node, ast.Compare) and any(map(_member, (node.left, *node.comparators))):
            of_enum = any(isinstance(part, ast.Attribute) and _member(part) for part in (node.left, *node.comparators))
            if of_enum or any(map(_channel, (node.left, *node.comparators))):
                return isinstance(node.ops[0], ast.Is | ast.Eq | ast.In)
    return None


def _gives_nothing(node: ast.expr) -> bool:
    match node:
        case ast.Constant(value=None | False | "") | ast.Attribute(attr="nan") | ast.Tuple(elts=[]) | ast.List(elts=[]):
            return True
    return False


def _asks_the_channel(node: ast.expr) -> bool:
    return any(_channel(part) for part in ast.walk(node))


def taken_for_another(source: str) -> Iterator[int]:
    """Lines on which what is not the channel named is treated as if it were a certain other one."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.IfExp(test=test, body=body, orelse=orelse):
                if _member(body) or _member(orelse):
                    yield node.lineno  # a channel made of something that has more than two kinds
                elif (only := _selected(test)) is not None:
                    others = orelse if only else body
                    if not (_gives_nothing(others) or _asks_the_channel(others)):
                        yield node.lineno
            case ast.If(test=test, body=body, orelse=orelse) if (only := _selected(test)) is not None:
                answers = any(isinstance(last, ast.Return) and last.value for last in body[-1:])
                if only and (orelse or answers):
                    yield node.lineno


def test_no_code_takes_every_other_channel_for_one() -> None:
    sources = {path: path.read_text(encoding="utf-8") for path in sorted(SOURCE.rglob("*.py"))}
    assert any("channel is Channel.HUMIDITY" in text for text in sources.values())
    assert [f"{path}:{line}" for path, text in sources.items() for line in taken_for_another(text)] == []


@pytest.mark.parametrize(
    "source",
    [
        "limit = wet if channel is Channel.HUMIDITY else warm",
        "limit = warm if r.channel is not Channel.HUMIDITY else wet",
        "limit = wet if seen and r.channel.value == 'humidity' else warm",
        "channel = Channel.TEMPERATURE if quantity == 'temperature' else Channel.HUMIDITY",
        "if channel is Channel.HUMIDITY:\n    wet()\nelse:\n    warm()",
        "def f():\n    if r.channel is Channel.TEMPERATURE:\n        return 'colder'\n    return 'drier'",
    ],
)
def test_a_channel_taken_for_another_is_seen(source: str) -> None:
    assert [*taken_for_another(source)]


@pytest.mark.parametrize(
    "source",
    [
        "limit = wet if channel is Channel.HUMIDITY else math.nan",
        "word = '' if channel is Channel.HUMIDITY else f' ({channel})'",
        "wet = [r for r in results if r.channel is Channel.HUMIDITY]",
        "if channel is not Channel.HUMIDITY:\n    settle = ()",
        "unit = 'kPa' if quantity == 'pressure' else known",
    ],
)
def test_a_selection_of_one_channel_is_none(source: str) -> None:
    assert not [*taken_for_another(source)]
