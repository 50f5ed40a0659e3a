"""`asfound targets`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from asfound.commands.common import CLEAN, QUIET_S, add_date, command, day_of, files_of, told_after
from asfound.faults import RecordsRefused
from asfound.refusals import Refusal

if TYPE_CHECKING:
    from asfound.planning.target_model import Conditions
    from asfound.records.load import Records
    from asfound.records.snapshot import Snapshot

TEMPERATURES_C = (-60.0, 95.0)
PRESSURES_PA = (50e3, 115e3)
"""What a room can have."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "targets",
        "say what to set for each point of a sensor: the pressure to dial, the mirror's reading to expect, the salt",
        "asfound targets DRY-11 --chamber-temperature 15.2 --ambient 1008.4",
    )
    parser.add_argument("sensors", nargs="+", metavar="SENSOR", help="ids of sensors")
    add_conditions(parser)
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def add_conditions(parser: argparse.ArgumentParser) -> None:
    """The options that say with what, when and under which conditions; shared with `sheet`."""
    add_date(parser)
    parser.add_argument("--reference", metavar="ID", help="the reference (default: the one used last)")
    temperature, pressure = _amount("temperature", "degC"), _amount("pressure", "hPa")
    for name, kind, meaning in (
        ("--chamber-temperature", temperature, "as the chamber's display shows it (default: where the sensor works)"),
        ("--saturator-temperature", temperature, "as the saturator's display shows it (default: the chamber's)"),
        ("--ambient", pressure, "the room's pressure, as the barometer shows it (default: 1013.25)"),
        ("--chamber-pressure", pressure, "as its transducer shows it (default: the room's)"),
        ("--room-temperature", temperature, "of the air around line and chamber (default: the chamber's)"),
        ("--line-temperature", temperature, "coldest place from saturator to valve (default: the room's)"),
    ):
        unit = "degC" if kind is temperature else "hPa"
        parser.add_argument(name, type=kind, metavar="NUMBER", help=f"{meaning}; a bare number is in {unit}")


def _amount(quantity: str, unit: str) -> Callable[[str], float]:
    """The type of an option: `21.3`, or with another unit `70.3 degF`."""

    def read(text: str) -> float:
        from asfound.units import UnitError, amount

        words = text.split()
        if quantity == "pressure" and words[-1:] == ["absolute"]:  # as the headers of a visit write it
            text = " ".join(words[:-1])
        elif quantity == "pressure" and words[-1:] == ["gauge"]:
            raise argparse.ArgumentTypeError(f"{text!r}: give the absolute pressure, not what a gauge shows")
        try:
            return amount(text if any(c.isalpha() for c in text) else f"{text} {unit}", quantity)
        except UnitError as problem:
            raise argparse.ArgumentTypeError(f"{problem}; {problem.cure}") from problem

    return read


def conditions_of(options: argparse.Namespace) -> Conditions:
    """The conditions that the options give. Raises Refusal for what no room can have."""
    from asfound.planning.target_model import Conditions

    for name in ("chamber_temperature", "saturator_temperature", "room_temperature", "line_temperature"):
        value = getattr(options, name)
        if value is not None and not TEMPERATURES_C[0] <= value <= TEMPERATURES_C[1]:
            shown = name.replace("_", "-")
            raise Refusal(f"--{shown}: {value:g} degC is no temperature here", 'give another unit as in "70.3 degF"')
    ambient = options.ambient
    if ambient is not None and not PRESSURES_PA[0] <= ambient <= PRESSURES_PA[1]:
        message = f"--ambient: {ambient / 100:g} hPa is no pressure of a room"
        raise Refusal(message, 'give the absolute pressure, in another unit as in "29.92 inHg"')
    return Conditions(
        chamber_c=options.chamber_temperature,
        saturation_c=options.saturator_temperature,
        chamber_pa=options.chamber_pressure,
        ambient_pa=ambient,
        room_c=options.room_temperature,
        line_c=options.line_temperature,
    )


def records_of(files: Snapshot) -> Records:
    """The records; a visit that cannot be read tells nothing of how things are usually done, and hinders nothing.

    Raises RecordsRefused where another record cannot be read.
    """
    from asfound.records.load import load

    with told_after(QUIET_S, f"reading {len(files)} records"):
        records, faults = load(files)
    faults = [fault for fault in faults if not fault.place.path.startswith("visits/")]
    if records is None or faults:
        raise RecordsRefused(faults)
    return records


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.planning.targets import targets
    from asfound.terminal.targets import as_json, as_text

    files = files_of(options.records)
    records = records_of(files)
    conditions, day = conditions_of(options), day_of(options)
    found = [targets(records, sensor, day, conditions, options.reference) for sensor in options.sensors]
    print(as_json(found) if options.json else as_text(found))
    return CLEAN
