"""The mapping: a small TOML file that says which column of a log is what, in which unit."""

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from optimizer.base.errors import LogError, UserInputError, caused_by
from optimizer.base.messages import nearest, shown
from optimizer.base.toml_io import read_toml
from optimizer.study.dataclass_schema import Table, number, section_model, section_of
from optimizer.study.log_data.channels import ALWAYS_NEEDED, CHANNELS, ISO_TIME, to_si
from optimizer.study.rewound_motor import resolved_board
from optimizer.study.schema_errors import checked
from plant.description.board import Board
from plant.description.rider import Body

DECIMALS = (".", ",")
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "bar": "|"}
_LARGEST = 1e12  # of scale and offset: times in microseconds since 1970 need no more


class ColumnTable(Table):
    """Where a channel stands in the log: a value in its unit is scale * number + offset."""

    column: str
    unit: str
    scale: number("of a column", -_LARGEST, _LARGEST) = 1.0  # type: ignore[valid-type]
    offset: number("of a column", -_LARGEST, _LARGEST) = 0.0  # type: ignore[valid-type]
    reversed: bool = False


class MappingTable(Table):
    """A mapping as it stands in a file."""

    confirmed: bool
    separator: str = "comma"
    decimal: str = "."
    board: Any = "lender_15"
    rider_mass_kg: float = 80.0
    columns: dict[str, ColumnTable]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of the log: value in SI = factor * number in the file + offset.

    A column of text holds ISO 8601 times, read as seconds. `written` is the mapping's line.
    """

    name: str
    factor: float
    offset: float
    written: ColumnTable
    is_text: bool = False

    def scaling(self) -> str:
        """Return what the mapping does to the column's numbers before their unit counts."""
        written = self.written
        if (written.scale, written.offset) == (1.0, 0.0):
            return ""
        return (
            f"the mapping takes {written.scale:g} times the column's number"
            f" {'-' if written.offset < 0.0 else '+'} {abs(written.offset):g} as {written.unit}"
        )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class LogMapping:
    """A checked mapping.

    Attributes
    ----------
    path : Path
    separator, decimal : str
        One character each; of no meaning to a Parquet file.
    board_written : Any
        How the file names the board, for a study to repeat.
    board : Board
        The nearest board of the catalogue: its wheel radius and pole pairs are taken as true.
    rider_mass_kg : float
    columns : mapping of channel name to Column
    """

    path: Path
    separator: str
    decimal: str
    board_written: Any
    board: Board
    rider_mass_kg: float
    columns: Mapping[str, Column]

    def other_units(self, channel: str) -> dict[str, tuple[float, float]]:
        """Return factor and offset from a channel's values to those in each unit not mapped."""
        known, column = CHANNELS[channel], self.columns[channel]
        sign = -1.0 if column.written.reversed else 1.0
        factor, offset = to_si(known, column.written.unit, self.board)
        found: dict[str, tuple[float, float]] = {}
        if column.is_text:
            return found
        for unit in known.units:
            if unit in (column.written.unit, ISO_TIME):
                continue
            its_factor, its_offset = to_si(known, unit, self.board)
            ratio = its_factor / factor
            found[unit] = (ratio, sign * (its_offset - ratio * offset))
        return found


@caused_by(LogError)
def load_mapping(path: Path) -> LogMapping:
    """Read and check a mapping that the user has confirmed.

    Raises
    ------
    UserInputError
        The file is no mapping, or is not confirmed yet; one line.
    """
    written = read_toml(path, missing="make one with: levelgain log propose LOG")
    table = checked(MappingTable, written, path=path)
    if not table.confirmed:
        raise UserInputError(
            f"{path}: confirmed: must be true before the log is read, got false;"
            " check every column and unit in the file, then write confirmed = true"
        )
    _refuse_other(path, "separator", table.separator, SEPARATORS)
    _refuse_other(path, "decimal", table.decimal, DECIMALS)
    mass = next(field for field in dataclasses.fields(Body) if field.name == "mass_kg").metadata
    if not mass["low"] <= table.rider_mass_kg <= mass["high"]:
        raise UserInputError(
            f"{path}: rider_mass_kg: must be from {mass['low']:g} to {mass['high']:g} kg,"
            f" got {table.rider_mass_kg:g}; weigh the rider with clothes and guards"
        )
    board = board_of(table.board, path)
    return LogMapping(
        path=path,
        separator=SEPARATORS[table.separator],
        decimal=table.decimal,
        board_written=table.board,
        board=board,
        rider_mass_kg=table.rider_mass_kg,
        columns=_columns(table, board, path),
    )


def board_of(written: Any, path: Path) -> Board:
    """Return a board as a file describes it.

    Parameters
    ----------
    written : Any
        The name of one of the catalogue, or a table.
    path : Path
        The file, for messages.

    Raises
    ------
    UserInputError
        There can be no such board, or the catalogue has no entry of a name.
    """
    table, _ = resolved_board(written, path=path)
    found = checked(section_model(Board), table, path=path, key="board")
    try:
        return section_of(Board, found)
    except ValueError as error:
        raise UserInputError(f"{path}: board: {error}; change one of them") from None


def _refuse_other(path: Path, key: str, found: str, allowed: Any) -> None:
    if found not in allowed:
        names = ", ".join(f'"{name}"' for name in allowed)
        raise UserInputError(
            f"{path}: {key}: must be one of {names}, got {shown(found)}; change it"
        )


def _refuse_scaling(path: Path, name: str, column: ColumnTable) -> None:
    key = f"{path}: columns.{name}"
    if column.scale == 0.0:
        raise UserInputError(
            f"{key}.scale: must not be 0, which makes every row alike; write the unit's step, such"
            " as 0.01, or take the key out"
        )
    if column.unit == ISO_TIME and (column.scale, column.offset) != (1.0, 0.0):
        raise UserInputError(
            f"{key}: times as {ISO_TIME} are text and have neither scale nor offset; take them out"
        )


def _columns(table: MappingTable, board: Board, path: Path) -> dict[str, Column]:
    columns = {}
    for name, column in table.columns.items():
        if name not in CHANNELS:
            raise UserInputError(
                f"{path}: columns: unknown channel {name!r}; the nearest is"
                f" {nearest(name, CHANNELS)!r}; the channels are {', '.join(CHANNELS)}"
            )
        _refuse_other(path, f"columns.{name}.unit", column.unit, CHANNELS[name].units)
        _refuse_scaling(path, name, column)
        factor, offset = to_si(CHANNELS[name], column.unit, board)
        sign = -1.0 if column.reversed else 1.0
        columns[name] = Column(
            name=column.column,
            factor=sign * factor * column.scale,
            offset=sign * (factor * column.offset + offset),
            written=column,
            is_text=column.unit == ISO_TIME,
        )
    for name in ALWAYS_NEEDED:
        if name not in columns:
            raise UserInputError(f"{path}: columns.{name}: is missing; name the column of the time")
    if len(columns) < 2:
        raise UserInputError(
            f"{path}: columns: needs time_s and at least one more channel; name another column"
        )
    return columns
