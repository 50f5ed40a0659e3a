"""`asfound completion`: ids, commands and options complete in the shell; the code that a shell asks for them."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import argcomplete
from argcomplete.shell_integration import shellcode

from asfound.commands.common import CLEAN

SHELLS = {
    "bash": 'eval "$(asfound completion bash)"  # in ~/.bashrc',
    "zsh": 'eval "$(asfound completion zsh)"  # in ~/.zshrc, after compinit',
    "fish": "asfound completion fish | source  # in ~/.config/fish/config.fish",
    "powershell": "asfound completion powershell | Out-String | Invoke-Expression  # in $PROFILE",
}
"""Shell → the line that switches completion on for good, and where it goes."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    summary = "print what makes ids, commands and options complete in your shell"
    lines = "\n".join(f"  {line}" for line in SHELLS.values())
    parser = commands.add_parser(
        "completion",
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}. Ids are those of the records’ folder.",
        epilog=f"example: asfound completion bash\n\nfor good, one line in the shell’s own file:\n{lines}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("shell", choices=tuple(SHELLS), help="for which shell")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    shell = "bash" if options.shell == "zsh" else options.shell  # one code serves both
    print(shellcode(["asfound"], shell=shell))
    return CLEAN


def complete(parser: argparse.ArgumentParser) -> None:
    """Answer the shell and leave, where it is the shell that asks."""
    for action in _actions(parser):
        if action.dest in COMPLETED:
            action.completer = COMPLETED[action.dest]  # type: ignore[attr-defined]
    argcomplete.autocomplete(parser)


def _actions(parser: argparse.ArgumentParser) -> Iterable[argparse.Action]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield from _actions(inner)
        else:
            yield action


def _stems(folder: str, suffix: str) -> Callable[..., list[str]]:
    """The names of the files of a folder of the records, without reading one."""

    def found(parsed_args: argparse.Namespace, **_: object) -> list[str]:
        records: Path = getattr(parsed_args, "records", None) or Path("records")
        return sorted({path.name.removesuffix(suffix) for path in (records / folder).rglob(f"*{suffix}")})

    return found


def _written(file: str, ids: Callable[[Any], Iterable[str]]) -> Callable[..., list[str]]:
    """The ids inside one file of the records; none where it cannot be read."""

    def found(parsed_args: argparse.Namespace, **_: object) -> list[str]:
        from asfound.records.load import read

        records: Path = getattr(parsed_args, "records", None) or Path("records")
        try:
            record = read({file: (records / file).read_bytes()}).models.get(file)
        except OSError:
            return []
        return list(ids(record)) if record is not None else []

    return found


def _part_of_a_visit(prefix: str, parsed_args: argparse.Namespace, **_: object) -> list[str]:
    """`explain` takes a file, or a sensor and then a visit."""
    if parsed_args.what:
        return _VISITS(parsed_args)
    files = [path.as_posix() for path in Path(prefix).parent.glob("*.csv")]
    return [*_SENSORS(parsed_args), *files]


def _certificates(prefix: str, parsed_args: argparse.Namespace, **_: object) -> list[str]:
    """`SENSOR/`, and then its visits."""
    sensor, slash, _visit = prefix.partition("/")
    if not slash:
        return [f"{name}/" for name in _SENSORS(parsed_args)]
    return [f"{sensor}/{visit}" for visit in _VISITS(parsed_args)]


_SENSORS, _REFERENCES, _VISITS = _stems("sensors", ".yml"), _stems("references", ".yml"), _stems("visits", ".csv")
_PEOPLE = _written("people.yml", lambda people: (person.id for person in people.people))
COMPLETED: dict[str, Callable[..., list[str]]] = {
    "sensors": _SENSORS,
    "sensor": _SENSORS,
    "reference": _REFERENCES,
    "place": _written("facility.yml", lambda facility: (place.id for place in facility.places)),
    "technician": _PEOPLE,
    "by": _PEOPLE,
    "what": _part_of_a_visit,
    "certificates": _certificates,
}
"""Name of an argument → what may stand there."""
