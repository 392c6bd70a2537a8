"""A log as blocks of rows in SI units: CSV or Parquet, in memory that does not grow with it."""

import dataclasses
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute
import pyarrow.csv
import pyarrow.parquet

from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest
from optimizer.base.reading import opened, refuse_irregular
from optimizer.study.log_data.mapping import SEPARATORS, LogMapping
from plant.arrays import Floats

_BLOCK_BYTES = 1 << 20
_BATCH_ROWS = 1 << 16
_HEAD_BYTES = 1 << 16
_NO_NUMBER = [
    "",
    "nan",
    "NaN",
    "NAN",
    "NA",
    "N/A",
    "n/a",
    "null",
    "NULL",
    "None",
    "-",
    "inf",
    "-inf",
]
PARQUET = (".parquet", ".pq")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Consecutive rows of a log.

    Attributes
    ----------
    first_line : int
        Line in the file of the first row; the header of a CSV file is line 1. Row for Parquet.
    signals : mapping of channel to (row,) float64
        In the unit that ends the channel's name; NaN where the log has no number.
    """

    first_line: int
    signals: Mapping[str, Floats]


def read_blocks(path: Path, mapping: LogMapping) -> Iterator[Block]:
    """Yield the rows of a log, block by block.

    Raises
    ------
    UserInputError
        The file can not be read as the mapping says; one line.
    """
    is_parquet = path.suffix.lower() in PARQUET
    header = parquet_header(path) if is_parquet else csv_header(path, mapping.separator)
    _refuse_missing(path, mapping, header)
    line = 1 if is_parquet else 2
    n_rows = 0
    for batch in _parquet(path, mapping) if is_parquet else _csv(path, mapping):
        if batch.num_rows == 0:
            continue
        yield Block(first_line=line, signals=_in_si(batch, mapping, path))
        line += batch.num_rows
        n_rows += batch.num_rows
    if n_rows < 2:
        raise UserInputError(
            f"{path}: a log needs at least two rows of numbers, got {n_rows}; record a longer ride"
        )


def csv_header(path: Path, separator: str | None) -> list[str]:
    """Return the names in a CSV file's first line; the separator is found where it is None.

    Raises
    ------
    UserInputError
        The file is missing, empty or binary, or its columns are parted by something else.
    """
    first = head_text(path).splitlines()[0]
    found = separator or likely_separator(first)
    names = [name.strip().strip('"') for name in first.split(found)]
    other = likely_separator(first)
    if len(names) == 1 and first.count(other) > 0:
        called = next(name for name, sign in SEPARATORS.items() if sign == other)
        raise UserInputError(
            f"{path}: line 1 has one column when parted by {found!r}, {first.count(other) + 1} by"
            f' {other!r}; write separator = "{called}" in the mapping'
        )
    return names


def likely_separator(line: str) -> str:
    """Return the sign that parts most columns of a line."""
    return max((",", ";", "\t", "|", " "), key=line.count)


def head_text(path: Path) -> str:
    """Return the start of a text file.

    Raises
    ------
    UserInputError
        The file can not be read, is empty, or is not text.
    """
    with opened(path) as file:
        head = file.read(_HEAD_BYTES)
    if not head.strip():
        raise UserInputError(f"{path}: the log is empty; record a ride first")
    text = head.decode("utf-8-sig", errors="replace")
    strange = sum(sign == "\ufffd" or (sign < " " and sign not in "\t\r\n") for sign in text)
    if b"\0" in head or strange > 0.02 * len(text):
        raise UserInputError(
            f"{path}: is a binary file, not a table of text; export the log as CSV or Parquet"
        )
    if not text.splitlines()[0].strip():
        raise UserInputError(
            f"{path}: line 1 must name the columns, got an empty line; take out the lines above"
        )
    return text


def parquet_header(path: Path) -> list[str]:
    """Return the names of a Parquet file's columns.

    Raises
    ------
    UserInputError
        The file is missing or no Parquet file.
    """
    refuse_irregular(path)
    try:
        return list(pa.parquet.read_schema(path).names)
    except (pa.ArrowException, OSError) as error:
        raise UserInputError(
            f"{path}: not a Parquet file that can be read ({_short(error)}); export it again"
        ) from None


def _refuse_missing(path: Path, mapping: LogMapping, header: list[str]) -> None:
    for channel, column in mapping.columns.items():
        if header.count(column.name) > 1:
            raise UserInputError(
                f"{path}: line 1 names the column {column.name!r} twice; rename one of them"
            )
        if column.name not in header:
            raise UserInputError(
                f"{path}: has no column {column.name!r} (columns.{channel} in {mapping.path});"
                f" the nearest is {nearest(column.name, header)!r}"
            )


def _csv(path: Path, mapping: LogMapping) -> Iterator[Any]:
    wanted = [column.name for column in mapping.columns.values()]
    try:
        with pa.csv.open_csv(
            path,
            read_options=pa.csv.ReadOptions(block_size=_BLOCK_BYTES, use_threads=False),
            parse_options=pa.csv.ParseOptions(delimiter=mapping.separator),
            convert_options=pa.csv.ConvertOptions(
                column_types=_types(mapping),
                include_columns=wanted,
                null_values=_NO_NUMBER,
                strings_can_be_null=True,
                decimal_point=mapping.decimal,
            ),
        ) as reader:
            yield from reader
    except (pa.ArrowException, OSError) as error:
        raise UserInputError(f"{path}: {_csv_fault(error, mapping)}") from None


def _types(mapping: LogMapping) -> dict[str, Any]:
    """Return the type of each column: numbers, and text only where the time is ISO 8601."""
    types = {column.name: pa.float64() for column in mapping.columns.values()}
    time = mapping.columns["time_s"]
    if time.is_text:
        types[time.name] = pa.string()
    return types


def _csv_fault(error: Exception, mapping: LogMapping) -> str:
    text = _short(error)
    bad = re.search(r"invalid value '([^']*)'", text)
    if bad and re.fullmatch(r"\s*-?\d+,\d+\s*", bad[1]) and mapping.decimal == ".":
        return (
            f"numbers are written with a decimal comma ({bad[1]});"
            f' write decimal = "," in {mapping.path}'
        )
    if bad:
        return (
            f"{bad[1][:30]!r} is no number"
            f" ({_place(text)}); correct that cell or take the column out of {mapping.path}"
        )
    if "Expected" in text and "columns" in text:
        return (
            f"lines differ in their number of columns ({text[:110]}); where decimal commas part the"
            " numbers too, export the log with another separator, else delete that line"
        )
    if "straddling" in text:
        return f"holds a line longer than {_BLOCK_BYTES >> 20} MB; it is damaged, export it again"
    if "Empty CSV" in text:
        return "the log is empty; record a ride first"
    return f"can not be read as a table ({text[:110]}); export the log again"


def _place(text: str) -> str:
    found = re.search(r"column #(\d+)", text)
    row = re.search(r"[Rr]ow #(\d+)", text)
    column = f"column {int(found[1]) + 1}" if found else "a column that the mapping names"
    return column + (f", line {row[1]}" if row else "")


def _parquet(path: Path, mapping: LogMapping) -> Iterator[Any]:
    wanted = [column.name for column in mapping.columns.values()]
    try:
        with pa.parquet.ParquetFile(path) as file:
            yield from file.iter_batches(batch_size=_BATCH_ROWS, columns=wanted)
    except (pa.ArrowException, OSError) as error:
        raise UserInputError(
            f"{path}: the Parquet file is damaged ({_short(error)[:110]}); export it again"
        ) from None


def _in_si(batch: Any, mapping: LogMapping, path: Path) -> dict[str, Floats]:
    signals = {}
    for channel, column in mapping.columns.items():
        stored = batch.column(batch.schema.get_field_index(column.name))
        if column.is_text:
            signals[channel] = _seconds(stored, path, column.name)
            continue
        try:
            numbers = stored.cast(pa.float64()).to_numpy(zero_copy_only=False)
        except pa.ArrowException:
            raise UserInputError(
                f"{path}: column {column.name!r} holds {stored.type}, not numbers;"
                f" correct columns.{channel} in {mapping.path}"
            ) from None
        signals[channel] = np.where(
            np.isfinite(numbers), column.factor * numbers + column.offset, np.nan
        )
    return signals


def _seconds(stored: Any, path: Path, name: str) -> Floats:
    """Return seconds since 1970 of ISO 8601 text or of a Parquet file's timestamps."""
    try:
        if pa.types.is_string(stored.type) or pa.types.is_large_string(stored.type):
            stored = _in_utc(stored)
        counted = stored.cast(pa.timestamp("us")).cast(pa.int64())
    except pa.ArrowException as error:
        raise UserInputError(
            f"{path}: column {name!r} must hold times as ISO 8601 such as 2025-06-01T12:00:00.250"
            f" ({_short(error)[:110]}); correct it, or name another unit in the mapping"
        ) from None
    return np.asarray(counted.to_numpy(zero_copy_only=False).astype(np.float64) * 1e-6)


def _in_utc(text: Any) -> Any:
    """Return ISO 8601 texts as timestamps; the zone of the first row is that of all."""
    text = pa.compute.utf8_trim_whitespace(text)
    known = text.drop_null()
    zoned = len(known) and re.search(r"(Z|[+-]\d\d:?\d\d)$", known[0].as_py())
    return text.cast(pa.timestamp("us", tz="UTC") if zoned else pa.timestamp("us"))


def _short(error: Exception) -> str:
    return " ".join(str(error).split())
