"""Old results as visits: each is what somebody stated then, with its U; it counts for due dates and drift.

No certificate of ours comes of them, for their raw readings are not there.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from datetime import date

from asfound.faults import Fault, did_you_mean
from asfound.scaffold.old_lists.lists import ListColumn, ListFile, ListRow, read_list

COLUMNS = (
    ListColumn(name="sensor", meaning="id, as in the list of sensors", required=True),
    ListColumn(name="date", meaning="day of the calibration", is_day=True, required=True),
    ListColumn(name="phase", meaning="as_found where left out", choices=("as_found", "as_left", "as found", "as left")),
    ListColumn(name="serial", meaning="serial number of the instrument"),
    ListColumn(name="target", meaning="humidity aimed at; left out: the reference value", quantities=("humidity",)),
    ListColumn(name="reference", meaning="humidity by the reference", quantities=("humidity",), required=True),
    ListColumn(name="reading", meaning="what the sensor showed", quantities=("humidity",)),
    ListColumn(name="error", meaning="reading − reference, where no reading is given", quantities=("humidity",)),
    ListColumn(
        name="U",
        meaning="expanded uncertainty of the error: of the result, or of the procedure",
        quantities=("humidity",),
    ),
    ListColumn(name="k", meaning="coverage factor of U, as stated", plain_number=True),
    ListColumn(
        name="nu",
        meaning="degrees of freedom of U, as stated; a result with neither k nor nu gets no verdict",
        plain_number=True,
    ),
    ListColumn(name="adjusted", meaning="whether it was adjusted before this was read", choices=("yes", "no")),
    ListColumn(name="laboratory", meaning="who calibrated"),
    ListColumn(name="note", meaning="free text"),
)
"""What a list of old results may hold."""
_HEAD = (
    *("sensor", "time", "phase", "target [%RH]", "serial"),
    *("stated_reference [%RH]", "stated_error [%RH]", "stated_U [%RH]", "stated_k", "stated_nu", "adjustment", "note"),
)
NOON = 12 * 60
TOLD_APART = "no time of day is on record: noon and after stands for it"


def results_from(
    given: ListFile, known: Sequence[str] | None, day_format: str | None = None
) -> tuple[dict[str, bytes], dict[str, date], list[Fault]]:
    """Visits by path, the first day of each sensor, faults; `known`: sensors that there are (None: not asked)."""
    rows, faults = read_list(given, [_folded(column) for column in COLUMNS], day_format)
    by_day: dict[date, list[ListRow]] = {}
    first: dict[str, date] = {}
    for row in rows:
        faults += _row_faults(given, row, known)
        day, sensor = row.cells.get("date"), row.word("sensor")
        if isinstance(day, date):
            by_day.setdefault(day, []).append(row)
            first[sensor] = min(first.get(sensor, day), day)
    if faults:
        return {}, first, faults
    return (
        {f"visits/{day.year}/{day}-old-list.csv": _visit(given, day, by_day[day]) for day in sorted(by_day)},
        first,
        [],
    )


def _folded(column: ListColumn) -> ListColumn:
    """Names are compared without case: `U` is read as `u`."""
    return ListColumn(**{**column.__dict__, "name": column.name.casefold()})


def _row_faults(given: ListFile, row: ListRow, known: Sequence[str] | None) -> Iterator[Fault]:
    sensor = row.word("sensor")
    if known is not None and sensor and sensor not in known:
        hint = did_you_mean(sensor, known)
        yield given.fault(
            row.line, 0, f"{sensor!r} is not in the list of sensors", f"correct it, or add it there{hint}"
        )
    if "reading" not in row.cells and "error" not in row.cells:
        cure = "fill in reading or error (reading − reference)"
        yield given.fault(row.line, 0, "neither reading nor error is given", cure)
    if "u" not in row.cells:
        cure = "give U [%RH]: of the result, or what the procedure of that time is good for; nobody can guess it later"
        yield given.fault(row.line, 0, "a result without U says nothing", cure)


def _visit(given: ListFile, day: date, rows: Sequence[ListRow]) -> bytes:
    """The rows of one day, sensor by sensor, as found first; one minute apart from noon on."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_HEAD)
    minute = NOON
    order = list(dict.fromkeys(row.word("sensor") for row in rows))
    for row in sorted(rows, key=lambda r: (order.index(r.word("sensor")), _phase(r) == "as_left")):
        time = f"{day} {minute // 60:02d}:{minute % 60:02d}"
        if row.word("adjusted") == "yes" and not _was_adjusted(rows, row):
            writer.writerow([row.word("sensor"), time, "adjusted", *[""] * 7, "span", "kind not on record"])
            minute += 1
            time = f"{day} {minute // 60:02d}:{minute % 60:02d}"
        writer.writerow(_result(given, row, time))
        minute += 1
    return text.getvalue().encode()


def _was_adjusted(rows: Sequence[ListRow], row: ListRow) -> bool:
    """Whether an earlier row of the sensor's day says so already."""
    mine = [r for r in rows if r.word("sensor") == row.word("sensor") and r.word("adjusted") == "yes"]
    return mine[0] is not row


def _phase(row: ListRow) -> str:
    return row.word("phase").replace(" ", "_") or "as_found"


def _result(given: ListFile, row: ListRow, time: str) -> list[str]:
    number = {name: value for name, value in row.cells.items() if isinstance(value, float)}
    error = number["error"] if "error" in number else number["reading"] - number["reference"]
    told = [row.word("laboratory"), row.word("note"), f"{given.path}, line {row.line}; {TOLD_APART}"]
    return [
        row.word("sensor"),
        time,
        _phase(row),
        f"{number.get('target', number['reference']):.10g}",
        row.word("serial"),
        f"{number['reference']:.10g}",
        f"{round(error, 9):.10g}",
        f"{number['u']:.10g}",
        *(f"{number[name]:.10g}" if name in number else "" for name in ("k", "nu")),
        "",
        "; ".join(part for part in told if part),
    ]
