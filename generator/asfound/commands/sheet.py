"""`asfound sheet`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from asfound.commands.common import CLEAN, command, day_of, files_of
from asfound.commands.targets import add_conditions, conditions_of, records_of
from asfound.refusals import Refusal


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    parser = command(
        commands,
        "sheet",
        "write the sheets of a visit to come: its CSV with all that is known, a page for paper, a form for the phone",
        "asfound sheet DRY-11 DRY-12 --technician varlund --ambient 1008.4 --phone",
    )
    parser.add_argument("sensors", nargs="+", metavar="SENSOR", help="ids of sensors, in the order of the visit")
    parser.add_argument("--visit", metavar="NAME", help="words behind the day in its id (default: the first place)")
    parser.add_argument("--technician", metavar="ID", default="", help="who will read (people.yml)")
    parser.add_argument(
        "--together",
        action="store_true",
        help="all sensors with one reference and the same points share a chamber (default: those that did last time)",
    )
    parser.add_argument("--phone", action="store_true", help="also write the form for the phone, one HTML file")
    parser.add_argument("--output", type=Path, default=Path(), metavar="DIR", help="where to (default: here)")
    add_conditions(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code."""
    from asfound.printing.templates import template_folders
    from asfound.sheets.paper import visit_pdf
    from asfound.sheets.phone import visit_form
    from asfound.sheets.plan import plan
    from asfound.sheets.table import visit_csv

    files = files_of(options.records)
    records = records_of(files)
    visit = plan(
        records,
        options.sensors,
        day_of(options),
        conditions_of(options),
        visit=options.visit,
        reference=options.reference,
        technician=options.technician,
        together=options.together,
    )
    templates = template_folders()
    made = {"csv": visit_csv(visit), "pdf": visit_pdf(visit, records, templates)}
    if options.phone:
        made["html"] = visit_form(visit, templates)
    written = _write(options.output, visit.visit, made)
    for warning in visit.warnings:
        print(f"warning: {warning}", file=sys.stderr)
    for path in written:
        print(path.as_posix())
    return CLEAN


def _write(folder: Path, name: str, made: dict[str, bytes]) -> list[Path]:
    """All files or none; what is there already may hold readings and is left as it is."""
    paths = {folder / f"{name}.{ending}": content for ending, content in made.items()}
    for path in paths:
        if path.exists():
            raise Refusal(f"{path} is there already", "move it, or give another --visit or --output")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, content in paths.items():
            path.write_bytes(content)
    except OSError as problem:
        raise Refusal(f"{folder}: cannot be written ({problem.strerror})", "give another --output") from None
    return list(paths)
