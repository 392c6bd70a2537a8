"""How candidates lie in the study store: its tables, its rows and the checks when they are read.

Numbers are little-endian blobs: float64 for parameters, objectives and constraints, float32 for the
rides. Each row carries the CRC-32 of its blobs, because SQLite's own check sees a broken page but
not a flipped bit inside a number.
"""

import sqlite3
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.evaluation import Evaluation, History
from optimizer.store_faults import corrupt
from plant.errors import UserInputError

Floats = NDArray[np.float64]
Rides = NDArray[np.float32]

# Four letters in the file's header that tell our stores from other programs' SQLite files.
APPLICATION_ID = int.from_bytes(b"lvgn", "big")
VERSION = 1

SCHEMA = (
    "CREATE TABLE frozen (key TEXT PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID",
    "CREATE TABLE candidate (number INTEGER PRIMARY KEY, generation INTEGER NOT NULL,"
    " parameters BLOB NOT NULL, objectives BLOB NOT NULL, constraints BLOB NOT NULL,"
    " n_rides INTEGER NOT NULL, rides BLOB NOT NULL, crc32 INTEGER NOT NULL)",
    f"PRAGMA application_id = {APPLICATION_ID}",
    f"PRAGMA user_version = {VERSION}",
)

_Row = tuple[int, int, bytes, bytes, bytes, int, bytes, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """A store's whole content in number order.

    Parameters
    ----------
    frozen : dict of str to str
        Everything that decides the sequence of candidates.
    generations : (candidate,) int64
    history : History
        Parameters, objectives and constraints.
    rides : (candidate, ride, column) float32
    """

    frozen: dict[str, str]
    generations: NDArray[np.int64]
    history: History
    rides: Rides


def has_schema(connection: sqlite3.Connection, path: Path) -> bool:
    """Say whether the file is one of our stores; False for a file with nothing in it yet.

    Raises
    ------
    UserInputError
        Another program's file, or a newer version's.
    """
    application_id, version = (
        connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("application_id", "user_version")
    )
    n_tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if application_id == 0 and version == 0 and n_tables == 0:
        return False
    if application_id != APPLICATION_ID:
        raise UserInputError(
            f"{path}: an SQLite file of another program, not a study store;"
            " name another folder or move the file away"
        )
    if version != VERSION:
        raise UserInputError(
            f"{path}: a study store of version {version}, this program reads version {VERSION};"
            " use the program that wrote it or update this one"
        )
    return True


def check_pages(connection: sqlite3.Connection, path: Path) -> None:
    """Raise a `UserInputError` if SQLite finds its pages damaged."""
    found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise corrupt(path, " ".join(str(found).split()))


def rows_of_generation(
    generation: int, first_number: int, values: Floats, evaluation: Evaluation
) -> Iterator[_Row]:
    """Return the rows of a generation, the first of them numbered `first_number`."""
    for row, parameters in enumerate(values):
        rides = evaluation.rides[row]
        blobs = (
            parameters.astype("<f8").tobytes(),
            evaluation.objectives[row].astype("<f8").tobytes(),
            evaluation.constraints[row].astype("<f8").tobytes(),
            rides.astype("<f4").tobytes(),
        )
        yield first_number + row, generation, *blobs[:3], len(rides), blobs[3], _crc32(*blobs)


def read_frozen(connection: sqlite3.Connection) -> dict[str, str]:
    """Return the frozen texts by key."""
    return dict(connection.execute("SELECT key, text FROM frozen ORDER BY key"))


def read_rows(connection: sqlite3.Connection, path: Path) -> Table:
    """Return the whole table, checked.

    Raises
    ------
    UserInputError
        Damaged: a row is missing, has lost its length or its checksum.
    """
    rows: list[_Row] = connection.execute(
        "SELECT number, generation, parameters, objectives, constraints, n_rides, rides, crc32"
        " FROM candidate ORDER BY number"
    ).fetchall()
    for expected, (number, _, *blobs, n_rides, rides, crc32) in enumerate(rows):
        if number != expected:
            raise corrupt(path, f"candidate {expected} is missing")
        shape = [len(blob) for blob in (*blobs, rides)], n_rides
        if expected == 0:
            first_shape = shape
        if shape != first_shape or _crc32(*blobs, rides) != crc32:
            raise corrupt(path, f"candidate {number} does not match its checksum")
    history = History(
        values=_stacked([row[2] for row in rows]),
        objectives=_stacked([row[3] for row in rows]),
        constraints=_stacked([row[4] for row in rows]),
    )
    n_rides = rows[0][5] if rows else 0
    n_columns = len(rows[0][6]) // (4 * n_rides) if n_rides else 0
    metrics = np.frombuffer(b"".join(row[6] for row in rows), dtype="<f4")
    return Table(
        frozen=read_frozen(connection),
        generations=np.array([row[1] for row in rows], dtype=np.int64),
        history=history,
        rides=metrics.reshape(len(rows), n_rides, n_columns).astype(np.float32),
    )


def _stacked(blobs: list[bytes]) -> Floats:
    n_columns = len(blobs[0]) // 8 if blobs else 0
    return np.frombuffer(b"".join(blobs), "<f8").reshape(len(blobs), n_columns).astype(np.float64)


def _crc32(*blobs: bytes) -> int:
    return zlib.crc32(b"".join(blobs))
