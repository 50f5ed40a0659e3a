"""The command line: `hygrotrail check | build | serve | explain | retrace`."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from generator import __version__
from generator.faults import Fault, RecordsRefused, Severity, in_order
from generator.records.fields import parse_day
from generator.records.snapshot import Snapshot, from_folder

CLEAN, FAULTS, COULD_NOT_RUN = 0, 1, 2
QUIET_S = 2.0
"""Progress is told from here on."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code: 0 clean, 1 faults, 2 could not run."""
    _utf8_output()
    suit_the_work()
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except RecordsRefused as refused:
        errors = [fault for fault in refused.faults if fault.rule.severity is Severity.ERROR]
        _print_faults(errors, _prefix(options.records), annotations=False)
        return FAULTS
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return COULD_NOT_RUN


def suit_the_work() -> None:
    """Set up the process, before numpy is loaded, for many small objects that stay and many small matrices.

    One thread each is several times faster than threads that wait for each other, and the last digits are the same
    on any number of cores.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(200_000, 50, 100)


def _utf8_output() -> None:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="hygrotrail",
        description="Humidity-sensor calibration records in git: checked, recomputed, published as a site.",
    )
    parser.add_argument("--version", action="version", version=f"hygrotrail {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for add in (_add_check, _add_build, _add_serve, _add_explain, _add_retrace):
        add(commands)
    return parser


def _command(commands: argparse._SubParsersAction, name: str, summary: str, example: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}.",
        epilog=f"example: {example}",
    )
    parser.add_argument(
        "--records", type=Path, default=Path("records"), metavar="DIR", help="the records' folder (default: records)"
    )
    return parser


def _add_date(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--date", type=_day, metavar="YYYY-MM-DD", help="the day to assess on (default: HYGROTRAIL_DATE, or today)"
    )


def _day(text: str) -> date:
    try:
        return parse_day(text)
    except ValueError as problem:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; write it as YYYY-MM-DD") from problem


def _add_check(commands: argparse._SubParsersAction) -> None:
    parser = _command(
        commands, "check", "report every fault of the records, all at once", "hygrotrail check --annotations"
    )
    parser.add_argument(
        "--annotations", action="store_true", help="as workflow commands that code review shows on the lines"
    )
    parser.add_argument("--reservations", action="store_true", help="also list reservations: published, not blocking")
    parser.set_defaults(run=_check)


def _add_build(commands: argparse._SubParsersAction) -> None:
    parser = _command(
        commands,
        "build",
        "check the records, recompute everything, publish the site: all or nothing",
        "hygrotrail build --site public --date 2026-11-25",
    )
    _add_date(parser)
    parser.add_argument(
        "--site",
        type=Path,
        default=None,
        metavar="DIR",
        help="where the site goes (default: what mkdocs.yml says, else site)",
    )
    parser.set_defaults(run=_build)


def _add_serve(commands: argparse._SubParsersAction) -> None:
    parser = _command(
        commands,
        "serve",
        "build, serve on localhost, and rebuild when a record changes",
        "hygrotrail serve --port 8000",
    )
    _add_date(parser)
    parser.add_argument(
        "--site", type=Path, default=Path("site"), metavar="DIR", help="where the site goes (default: site)"
    )
    parser.add_argument("--port", type=int, default=8000, help="port on localhost (default: 8000)")
    parser.set_defaults(run=_serve)


def _add_explain(commands: argparse._SubParsersAction) -> None:
    parser = _command(
        commands,
        "explain",
        "say what a visit means: error, U, verdict and advice for each plateau; works on an unfinished file",
        "hygrotrail explain 2026-03-14-drying.csv --budget 2",
    )
    parser.add_argument(
        "what", nargs="+", metavar="FILE.csv | SENSOR VISIT", help="a visit's file, or a sensor and the id of a visit"
    )
    parser.add_argument(
        "--budget",
        nargs="?",
        const=0,
        type=int,
        metavar="PLATEAU",
        help="show the budgets row by row, of one plateau or all",
    )
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=_explain)


def _add_retrace(commands: argparse._SubParsersAction) -> None:
    parser = _command(
        commands,
        "retrace",
        "say what changes if a reference was wrong: all that leaned on it, measured again",
        "hygrotrail retrace GEN-01 --since 2026-03-01 --shift saturation_temperature=+0.15 degC",
    )
    _add_date(parser)
    parser.add_argument("reference", metavar="REFERENCE", help="id of the reference that was wrong")
    parser.add_argument("--since", type=_day, required=True, metavar="YYYY-MM-DD", help="the first day it was wrong on")
    parser.add_argument("--until", type=_day, metavar="YYYY-MM-DD", help="the last (default: it still is)")
    parser.add_argument(
        "--shift",
        nargs="+",
        action="append",
        required=True,
        metavar=("QUANTITY=ERROR", "UNIT"),
        help="its error beyond what its calibrations say, reading − true: + where it read too high; "
        "once for each quantity",
    )
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=_retrace)


def _check(options: argparse.Namespace) -> int:
    from generator.assessment.assess import check

    files = _files(options.records)
    if files is None:
        return COULD_NOT_RUN
    faults = in_order(check(files))
    errors = [f for f in faults if f.rule.severity is Severity.ERROR]
    _print_faults(faults if options.reservations else errors, _prefix(options.records), annotations=options.annotations)
    visits = sum(path.startswith("visits/") for path in files)
    count = f"{len(errors)} error{'s' if len(errors) != 1 else ''}" if errors else "no errors"
    print(f"{len(files)} files, {visits} visits: {count}", file=sys.stderr)
    return FAULTS if errors else CLEAN


def _build(options: argparse.Namespace) -> int:
    from generator.site.publish import CannotPublish, build_site

    if not _is_there(options.records):
        return COULD_NOT_RUN
    started = time.monotonic()
    try:
        published = build_site(_config(options.records), options.records, options.site, options.date)
    except CannotPublish as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    took = time.monotonic() - started
    print(f"published {published.pages} pages and {published.files} files at {published.site} in {took:.1f} s")
    return CLEAN


def _serve(options: argparse.Namespace) -> int:
    from generator.site.publish import CannotPublish, serve_site

    if not _is_there(options.records):
        return COULD_NOT_RUN
    try:
        serve_site(_config(options.records), options.records, options.site, options.date, options.port)
    except CannotPublish as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    return CLEAN


def _explain(options: argparse.Namespace) -> int:
    from generator.explain import CannotExplain, as_json, as_text, explain_file, explain_visit

    files = _files(options.records)
    if files is None:
        return COULD_NOT_RUN
    file = path = ""
    try:
        if len(options.what) == 1:
            file = options.what[0]
            explained, path = explain_file(files, Path(file))
        elif len(options.what) == 2:
            explained = explain_visit(files, *options.what)
        else:
            raise CannotExplain("give one visit file, or a sensor and a visit")
    except CannotExplain as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    prefix = _prefix(options.records)
    if options.json:
        print(as_json(explained, prefix))
    else:
        try:
            text = as_text(explained, budgets=options.budget is not None, plateau=options.budget or None)
        except CannotExplain as problem:
            print(problem, file=sys.stderr)
            return COULD_NOT_RUN
        if text:
            print(text)
        for fault in in_order(explained.faults):  # a file that is no record yet is named as it was given
            shown = fault.text(prefix)
            print(shown.replace(f"{prefix}{path}", file, 1) if path else shown)
    return FAULTS if any(f.rule.severity is Severity.ERROR for f in explained.faults) else CLEAN


def _retrace(options: argparse.Namespace) -> int:
    from generator.assessment.assess import assess
    from generator.assessment.retrace import retrace
    from generator.records.load import load
    from generator.retrace_text import CannotRetrace, as_json, as_text, question
    from generator.site.shell import build_day
    from generator.site.swap import CannotPublish

    files = _files(options.records)
    if files is None:
        return COULD_NOT_RUN
    # Without the visits: what was typed wrong is said at once.
    records, faults = load({path: content for path, content in files.items() if not path.startswith("visits/")})
    if records is None:
        raise RecordsRefused(faults)
    errors = [" ".join(words) for words in options.shift]
    try:
        day = options.date or build_day()
        asked = question(records, options.reference, errors, options.since, options.until, day)
    except (CannotRetrace, CannotPublish) as problem:
        print(problem, file=sys.stderr)
        return COULD_NOT_RUN
    with _told_after(QUIET_S, f"reading and assessing {len(files)} records"):
        assessment = assess(files, day)
        found = retrace(assessment, asked.shifts)
    print(as_json(asked, found) if options.json else as_text(asked, found))
    return CLEAN


@contextmanager
def _told_after(seconds: float, text: str) -> Iterator[None]:
    """Says on stderr what is being done, where it takes longer."""
    timer = threading.Timer(seconds, lambda: print(text, file=sys.stderr, flush=True))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _files(records: Path) -> Snapshot | None:
    """The records of a folder; None where there is no such folder, which is said."""
    return from_folder(records) if _is_there(records) else None


def _is_there(records: Path) -> bool:
    """Whether there is a folder of records; says so where there is none."""
    if records.is_dir():
        return True
    print(f"{records}: there is no such folder\n  cure: give the records' folder with --records DIR", file=sys.stderr)
    return False


def _config(records: Path) -> Path | None:
    """The mkdocs.yml beside the records' folder or in the present one; None: the packaged shell."""
    for folder in (records.resolve().parent, Path.cwd()):
        if (folder / "mkdocs.yml").is_file():
            return folder / "mkdocs.yml"
    return None


def _prefix(records: Path) -> str:
    return f"{records.as_posix().rstrip('/')}/"


def _print_faults(faults: Sequence[Fault], prefix: str, *, annotations: bool) -> None:
    for fault in in_order(faults):
        print(fault.annotation(prefix) if annotations else fault.text(prefix))


if __name__ == "__main__":
    sys.exit(main())
