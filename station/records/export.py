"""A lot as a file for other programs: CSV for spreadsheets, Parquet for statistics.

One row a unit, its latest production run (or every closed run, if asked). `export_columns` says what each column holds;
Parquet carries that with each column, as its description.
"""

import csv
from collections.abc import Iterator
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import Any, TextIO

from station.errors import RecordError
from station.records.repository import Records

# What makes a spreadsheet take a text for a formula (OWASP, "CSV Injection"); such a text gets an apostrophe
# in front, which spreadsheets take for "this is text". Full-width forms are folded by some of them.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_ROWS_AT_ONCE = 2_000


def write_csv(records: Records, lot: str, stream: TextIO, *, every_run: bool = False) -> int:
    """Write a lot to `stream` as CSV (RFC 4180) and return the number of rows.

    Safe to open in a spreadsheet: no text can be taken for a formula. Open the stream with newline="" and
    encoding "utf-8".

    Raises:
        RecordError: unknown lot, or the stream can't be written.
    """
    count = 0
    try:
        with records.lot_rows(lot, every_run=every_run) as table:
            writer = csv.writer(stream)
            writer.writerow([spreadsheet_text(column.name) for column in table.columns])
            for row in table.rows:
                writer.writerow([_csv_cell(value) for value in row])
                count += 1
    except OSError as error:
        raise RecordError(f"lot {lot}: the export can't be written ({error.strerror}).") from error
    return count


def write_parquet(records: Records, lot: str, path: Path, *, every_run: bool = False) -> int:
    """Write a lot to `path` as Parquet and return the number of rows; `path` appears whole or not at all.

    Raises:
        RecordError: pyarrow is not installed, unknown lot, or the file can't be written.
    """
    try:
        import pyarrow
        from pyarrow import parquet
    except ModuleNotFoundError as error:
        raise RecordError("Parquet needs pyarrow. Install coilgate[parquet], or export CSV.") from error
    types = {
        "text": pyarrow.string(),
        "whole": pyarrow.int64(),
        "number": pyarrow.float64(),
        "flag": pyarrow.bool_(),
    }
    draft = path.with_name(path.name + ".part")
    count = 0
    try:
        with records.lot_rows(lot, every_run=every_run) as table:
            schema = pyarrow.schema(
                [
                    pyarrow.field(each.name, types[each.kind], metadata={"description": each.words})
                    for each in table.columns
                ]
            )
            with parquet.ParquetWriter(draft, schema) as writer:
                for columns in _in_columns(table.rows):
                    writer.write_table(pyarrow.table(columns, schema=schema))
                    count += len(columns[0])
        draft.replace(path)
    except OSError as error:
        raise RecordError(f"{path}: the export can't be written ({error.strerror or error}).") from error
    finally:
        with suppress(OSError):
            draft.unlink()
    return count


def spreadsheet_text(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula."""
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) else text


def _csv_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return spreadsheet_text(value) if isinstance(value, str) else repr(value)


def _in_columns(rows: Iterator[tuple[Any, ...]]) -> Iterator[list[list[Any]]]:
    while some := list(islice(rows, _ROWS_AT_ONCE)):
        yield [list(column) for column in zip(*some)]
