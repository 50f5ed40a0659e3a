"""`asfound verify`."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS, QUIET_S, told_after
from asfound.refusals import Refusal


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command and its options."""
    summary = "compute a certificate again from what is attached to its PDF, and say whether the same comes out"
    parser = commands.add_parser(
        "verify",
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}. Needs no repository and no records.",
        epilog="example: asfound verify 2026-10-14-drying-a.r1.pdf",
    )
    parser.add_argument(
        "files", nargs="+", type=Path, metavar="CERTIFICATE.pdf", help="certificates as they were issued"
    )
    parser.add_argument(
        "--templates",
        type=Path,
        metavar="DIR",
        help="the issuer's own templates, where they print with others than the packaged ones",
    )
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """The exit code: 0 all agree, 1 one differs, 2 one cannot be read."""
    from asfound.certificates.verify import as_data, as_text, verify

    codes, told = [CLEAN], []
    for file in options.files:
        try:
            with told_after(QUIET_S, f"computing and printing {file} again"):
                found = verify(file.read_bytes(), options.templates)
        except (OSError, Refusal) as problem:
            why = str(problem)
            if isinstance(problem, OSError):
                why = f"{problem.strerror or problem}\n  cure: give the path of a certificate’s PDF"
            print(f"{file}: {why}", file=sys.stderr)
            told.append({"file": str(file), "verdict": "cannot be read", "why": why})
            codes.append(COULD_NOT_RUN)
            continue
        codes.append(CLEAN if found.agrees else FAULTS)
        if options.json:
            told.append(as_data(str(file), found))
        else:
            print(as_text(str(file), found))
    if options.json:
        print(json.dumps(told, ensure_ascii=False, indent=1))
    return max(codes)
