"""A first mapping for a log, from the words in its headers and the ranges of its numbers."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet

from optimizer.base.errors import LogError, UserInputError, caused_by
from optimizer.base.messages import shown
from optimizer.base.printable import in_unicode_escapes, one_line
from optimizer.study.log_data.channels import ALWAYS_NEEDED, CHANNELS, ISO_TIME, Channel, unit_named
from optimizer.study.log_data.mapping import SEPARATORS
from optimizer.study.log_data.reader import (
    PARQUET,
    csv_header,
    head_text,
    likely_separator,
    parquet_header,
)
from plant.arrays import Floats

_ROWS = 400
_HEAD = """\
# Which column of {log} is what, and in which unit: proposed from headers and ranges.
# Check every line, correct it, then write confirmed = true.
# A value is scale * number + offset in its unit, for instance `unit = "A", scale = 0.01`.
# `reversed = true` in a line turns the sign round. Positive: current drives forward, speed forward,
# pitch nose down, pack current discharging.
confirmed = false
separator = "{separator}"
decimal = "{decimal}"
board = "lender_15"    # the nearest of the catalogue: its wheel radius and pole pairs are used
rider_mass_kg = 80.0   # with clothes and guards

[columns]
"""


@caused_by(LogError)
def propose(log: Path) -> str:
    """Return the text of a mapping file for a log, not confirmed.

    Columns that no word gives away, and channels without a column, stand in it as comments.

    Raises
    ------
    UserInputError
        The log can not be read, or its columns have no names.
    """
    if log.suffix.lower() in PARQUET:
        header, separator, decimal = parquet_header(log), ",", "."
        with pyarrow.parquet.ParquetFile(log) as file:
            start = next(file.iter_batches(batch_size=_ROWS), None)
        rows = pd.DataFrame() if start is None else start.to_pandas()
    else:
        lines = head_text(log).splitlines()
        header = csv_header(log, None)
        separator = likely_separator(lines[0])
        body = [line.split(separator) for line in lines[1 : _ROWS + 1]]
        decimal = _decimal(body, separator)
        whole = [cells for cells in body if len(cells) == len(header)]
        rows = pd.DataFrame(whole, columns=header).map(
            lambda cell: cell.strip().strip('"').replace(decimal, ".")
        )
    if not len(rows):
        raise UserInputError(f"{log}: holds headers and no rows; record a ride first")
    if all(re.fullmatch(r"[-+\d.,eE\s]*", name) for name in header):
        raise UserInputError(
            f"{log}: line 1 must name the columns, got {shown(', '.join(header))};"
            " write a first line such as time_s,motor_current_a,speed_mps,pitch_deg"
        )
    called = next(name for name, sign in SEPARATORS.items() if sign == separator)
    text = _HEAD.format(log=one_line(log.name), separator=called, decimal=decimal)
    single = [column for column in header if header.count(column) == 1]
    columns = _matched(single)
    for channel, column in columns.items():
        if channel == "time_s" and _is_iso(rows[column].iloc[0]):
            text += _iso_line(column, rows[column].iloc[0])
        else:
            text += _line(channel, column, _numbers(rows[column]))
    return text + "".join(_left_over(header, single, columns, rows))


def _left_over(
    header: list[str], single: list[str], columns: dict[str, str], rows: pd.DataFrame
) -> Iterator[str]:
    """Yield comments of the columns that are not used and of the channels that have none."""
    unused = [column for column in single if column not in columns.values()]
    if unused:
        yield "\n# Columns of the log that are not used:\n"
    for column in unused:
        yield f"#   {_quoted(column)}: {_seen(_numbers(rows[column]))}\n"
    for column in dict.fromkeys(header):
        if column not in single:
            yield f"#   {_quoted(column)}: line 1 names it twice; rename one of them\n"
    if len(columns) < len(CHANNELS):
        yield "\n# Channels that no header names; take the # away where a column fits:\n"
    for channel, known in CHANNELS.items():
        if channel not in columns:
            needed = "needed; " if channel in ALWAYS_NEEDED else ""
            yield (
                f'# {channel} = {{ column = "", unit = "{next(iter(known.units))}" }}'
                f"  # {needed}{known.text}; may be: {', '.join(known.units)}\n"
            )


def _numbers(column: Any) -> Floats:
    return np.asarray(pd.to_numeric(column, errors="coerce").to_numpy(np.float64))


def _seen(values: Floats) -> str:
    if np.any(np.isfinite(values)):
        return f"{np.nanmin(values):g} to {np.nanmax(values):g}"
    return "no numbers"


def _decimal(body: list[list[str]], separator: str) -> str:
    if separator == ",":
        return "."
    cells = [cell.strip().strip('"') for row in body[:50] for cell in row]
    with_comma = sum(bool(re.fullmatch(r"-?\d+,\d+", cell)) for cell in cells)
    return (
        "," if with_comma > sum(bool(re.fullmatch(r"-?\d+\.\d+", cell)) for cell in cells) else "."
    )


def _words(header: str) -> str:
    spaced = re.sub(r"([a-z])([A-Z])", r"\1 \2", header)
    return " " + " ".join(re.findall(r"[a-z]+", spaced.lower())) + " "


def _matched(header: list[str]) -> dict[str, str]:
    """Return the best column of each channel; no column serves twice."""
    scores = []
    for column in header:
        said = _words(column)
        for channel, known in CHANNELS.items():
            for place, words in enumerate((channel.replace("_", " "), *known.words)):
                wanted = words if place else words.rpartition(" ")[0]
                if f" {wanted} " in said:
                    # More words in common count more; a whole header of them counts most.
                    score = wanted.count(" ") + len(wanted) / len(said) - 0.05 * place
                    scores.append((score, channel, column))
    found: dict[str, str] = {}
    for _, channel, column in sorted(scores, key=lambda item: -item[0]):
        if channel not in found and column not in found.values():
            found[channel] = column
    return {channel: found[channel] for channel in CHANNELS if channel in found}


def _is_iso(cell: Any) -> bool:
    return isinstance(cell, pd.Timestamp) or bool(re.match(r"\d{4}-\d\d-\d\d[T ]\d", str(cell)))


def _iso_line(column: str, first: Any) -> str:
    return (
        f'time_s = {{ column = "{_quoted(column)}", unit = "{ISO_TIME}" }}'
        f"  # time; text; begins with {one_line(str(first))}\n"
    )


def _quoted(column: str) -> str:
    return in_unicode_escapes(column.replace("\\", "\\\\").replace('"', '\\"'))


def _line(channel: str, column: str, values: np.ndarray) -> str:
    unit, why = _unit(channel, column, values)
    known = CHANNELS[channel]
    return (
        f'{channel} = {{ column = "{_quoted(column)}", unit = "{unit}" }}'
        f"  # {known.text}; {why}; begins with {_seen(values)}; may be: {', '.join(known.units)}\n"
    )


def _unit(channel: str, column: str, values: np.ndarray) -> tuple[str, str]:
    known = CHANNELS[channel]
    for part in reversed(re.findall(r"[^\s_()\[\]]+", column)):
        unit = unit_named(part, known)
        if unit:
            return unit, "unit from the header"
    joined = re.search(r"(deg|rad|m|km)_?(?:per_|p|/)(s|h)\b", column.lower())
    if joined:
        unit = unit_named(f"{joined[1]}/{joined[2]}", known)
        if unit:
            return unit, "unit from the header"
    return _by_range(channel, known, values), "unit guessed from the range"


def _by_range(channel: str, known: Channel, values: np.ndarray) -> str:
    """Return the unit in which the numbers are most likely."""
    finite = values[np.isfinite(values)]
    size = float(np.quantile(np.abs(finite), 0.98)) if len(finite) else 0.0
    if channel == "time_s":
        step = float(np.median(np.diff(finite))) if len(finite) > 1 else 0.01
        return "s" if step < 0.5 else "ms" if step < 2000.0 else "us"
    limits = {
        "speed_mps": ((12.0, "m/s"), (60.0, "km/h"), (1500.0, "rpm"), (np.inf, "electrical rpm")),
        "pitch_rad": ((0.6, "rad"), (np.inf, "deg")),
        "pitch_rate_rad_per_s": ((3.0, "rad/s"), (np.inf, "deg/s")),
        "yaw_rate_rad_per_s": ((3.0, "rad/s"), (np.inf, "deg/s")),
        "bus_v": ((300.0, "V"), (np.inf, "mV")),
        "current_a": ((600.0, "A"), (np.inf, "mA")),
        "pack_a": ((400.0, "A"), (np.inf, "mA")),
        "duty_ratio": ((1.2, "ratio"), (np.inf, "%")),
        "mosfet_c": ((200.0, "degC"), (np.inf, "K")),
        "winding_c": ((230.0, "degC"), (np.inf, "K")),
        "forward_force_mps2": ((3.0, "g"), (np.inf, "m/s2")),
        "upward_force_mps2": ((3.0, "g"), (np.inf, "m/s2")),
    }
    for limit, unit in limits.get(channel, ()):
        if size <= limit:
            return unit
    return next(iter(known.units))
