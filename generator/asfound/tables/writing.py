"""Tables as bytes and frames: CSV (RFC 4180 with LF, UTF-8), JSON, Parquet, pandas.

Numbers have 10 significant digits, so that processors' last bits do not show.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from asfound.rounding import published
from asfound.tables.columns import Column, Table

if TYPE_CHECKING:
    import pandas as pd

Rows = Iterable[Mapping[str, Any]]
"""A row's values by column; what a row leaves out is empty. Times in seconds since 1970, UTC."""
_EMPTY = (None, "")
ROWS_A_GROUP = 50_000
"""From so many rows on a group of a Parquet file is written."""


def csv_of(table: Table, rows: Rows) -> bytes:
    """Blank where there is nothing, `inf` where a number has no end, lists with `;` between."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(table.names)
    writer.writerows([_text(column, row.get(column.name)) for column in table.own] + [table.format] for row in rows)
    return text.getvalue().encode()


def json_of(table: Table, rows: Rows, **head: object) -> bytes:
    """One object: `head`, and under the table's name its rows: null where there is nothing, "inf" without end."""
    told = {"format": table.format, **head}
    start = "".join(f"{json.dumps(name)}: {json.dumps(value, ensure_ascii=False)},\n" for name, value in told.items())
    objects = ({column.name: _plain(column, row.get(column.name)) for column in table.own} for row in rows)
    lines = ",\n".join(json.dumps(one, ensure_ascii=False, allow_nan=False) for one in objects)
    return f'{{\n{start}"{table.name}": [\n{lines}\n]\n}}\n'.encode()


class Parquet:
    """A Parquet file that grows: typed columns with nulls, numbers rounded as in the other files.

    Rows are written in groups, so that a fleet's need no memory but that of a group.
    """

    def __init__(self, table: Table) -> None:
        import pyarrow  # late, as only the site and notebooks need it
        from pyarrow import parquet

        kinds = {
            "text": pyarrow.string(),
            "number": pyarrow.float64(),
            "whole": pyarrow.int64(),
            "day": pyarrow.date32(),
            "time": pyarrow.timestamp("ms", "UTC"),
            "list": pyarrow.list_(pyarrow.string()),
        }
        self._table, self._file, self._waiting = table, io.BytesIO(), list[Mapping[str, Any]]()
        self._schema = pyarrow.schema([(column.name, kinds[column.kind]) for column in table.columns])
        self._writer = parquet.ParquetWriter(self._file, self._schema, compression="zstd")

    def add(self, rows: Rows) -> None:
        """Some rows more."""
        self._waiting += rows
        if len(self._waiting) >= ROWS_A_GROUP:
            self._write()

    def content(self) -> bytes:
        """The whole file; nothing can be added after."""
        self._write()
        self._writer.close()
        return self._file.getvalue()

    def _write(self) -> None:
        import pyarrow

        self._writer.write_table(pyarrow.table(_columns(self._table, self._waiting), self._schema))
        self._waiting.clear()


def parquet_of(table: Table, rows: Rows) -> bytes:
    """Rows that are known at once as a Parquet file."""
    file = Parquet(table)
    file.add(rows)
    return file.content()


def frame_of(table: Table, rows: Rows) -> pd.DataFrame:
    """A frame: numbers as float64 (nan where there is none), days and times as timestamps, lists with `;` between."""
    import pandas as pd

    kinds = {"text": "str", "list": "str", "number": "float64", "whole": "Int64"}
    frame = {}
    for column, values in zip(table.columns, _columns(table, rows).values(), strict=True):
        if column.kind in ("text", "list"):
            values = [value if isinstance(value, str) else ";".join(value or ()) for value in values]
        series = pd.Series(values, dtype=kinds.get(column.kind, "object"))
        frame[column.name] = series if column.kind in kinds else pd.to_datetime(series, utc=column.kind == "time")
    return pd.DataFrame(frame)


def _columns(table: Table, rows: Rows) -> dict[str, list[Any]]:
    """By column its values: None where there is nothing."""
    kept = list(rows)
    columns = {column.name: [_typed(column, row.get(column.name)) for row in kept] for column in table.own}
    return {**columns, table.columns[-1].name: [table.format] * len(kept)}


def _typed(column: Column, value: Any) -> Any:
    match column.kind:
        case "list":
            return list(value or ())
        case "time":
            return None if value is None else datetime.fromtimestamp(value, UTC)
        case "text":
            return None if value in _EMPTY else str(value)
        case "number":
            return None if value is None or math.isnan(value) else float(published(value))
        case _:
            return value


def _text(column: Column, value: Any) -> str:
    if value is None:
        return ""
    match column.kind:
        case "number":
            return published(value)
        case "list":
            return ";".join(value)
        case "time":
            return _moment(value)
        case _:
            return str(value)


def _plain(column: Column, value: Any) -> Any:
    match column.kind:
        case "number":
            known = value is not None and math.isfinite(value)
            return float(published(value)) if known else (published(value) or None) if value is not None else None
        case "whole":
            return value
        case "list":
            return list(value or ())
        case _:
            return _text(column, value) or None


def _moment(time_utc: int) -> str:
    return datetime.fromtimestamp(time_utc, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
