"""Records as a test writes them: the minimal ones with some fields, rows or files altered, and what is told of them."""

from __future__ import annotations

from asfound.records.checking import check
from tests.repositories import laid_over, minimal

VISIT = "visits/2026/2026-03-14-drying.csv"
SENSOR = "sensors/RH-101.yml"
HEADER, FIRST, SECOND = minimal()[VISIT].decode().splitlines()
COLUMNS = [text.split(" [")[0] for text in HEADER.split(",")]

Files = dict[str, str | bytes]


def told(files: Files, *, without: tuple[str, ...] = ()) -> list[str]:
    """`line rule` of every fault, by place."""
    kept = {path: content for path, content in laid_over(files).items() if path not in without}
    return [f"{fault.place.line} {fault.rule.name}" for fault in check(kept)[1]]


def row(base: str = FIRST, **fields: object) -> str:
    """A row of the minimal visit with some fields changed."""
    values = dict(zip(COLUMNS, base.split(","), strict=True)) | {k: str(v) for k, v in fields.items()}
    return ",".join(values[name] for name in COLUMNS)


def visit(*rows: str, header: str = HEADER, path: str = VISIT) -> Files:
    return {path: "\n".join((header, *rows, ""))}


def edited(path: str, before: str, after: str) -> Files:
    text = minimal()[path].decode()
    assert before in text
    return {path: text.replace(before, after, 1)}


def table(*rows: dict[str, object], path: str = VISIT) -> Files:
    """A visit by header and field."""
    header = list(dict.fromkeys(name for fields in rows for name in fields))
    lines = [",".join(str(fields.get(name, "")) for name in header) for fields in rows]
    return visit(*lines, header=",".join(header), path=path)


BASE: dict[str, object] = {"sensor": "RH-102", "time": "2026-03-14 09:40", "phase": "as_found", "technician": "ada"}
MIRROR = BASE | {
    "target [%RH]": 10,
    "output [%RH]": 9.4,
    "reference": "MIR-01",
    "mirror_temperature [degC]": -10.02,
    "condensate": "frost",
    "chamber_temperature [degC]": 23.01,
}
PROBE = BASE | {
    "target [%RH]": 50,
    "output [%RH]": 50.4,
    "reference": "PRB-01",
    "reference_humidity [%RH]": 50.1,
    "reference_temperature [degC]": 22.9,
}
