"""How candidates lie in the study store: its tables, its rows and the checks when they are read.

Numbers are little-endian blobs of float64. Rides are kept as exactly as they were scored, so that
another study can score them again. Each row carries the CRC-32 of its blobs, because SQLite's own
check sees a broken page but not a flipped bit inside a number.
"""

import sqlite3
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.base.errors import StoreError
from optimizer.execution.store_errors import corrupt
from optimizer.search.evaluation import Evaluation, History
from plant.arrays import Floats

# Four letters in the file's header that distinguish our stores from other programs' SQLite files.
APPLICATION_ID = int.from_bytes(b"lvgn", "big")
VERSION = 6

SCHEMA = (
    "CREATE TABLE frozen (key TEXT PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID",
    "CREATE TABLE candidate (number INTEGER PRIMARY KEY, generation INTEGER NOT NULL,"
    " parameters BLOB NOT NULL, objectives BLOB NOT NULL, constraints BLOB NOT NULL,"
    " n_rides INTEGER NOT NULL, rides BLOB NOT NULL, crc32 INTEGER NOT NULL)",
    "CREATE TABLE reevaluation (number INTEGER PRIMARY KEY, objectives BLOB NOT NULL,"
    " constraints BLOB NOT NULL, n_rides INTEGER NOT NULL, rides BLOB NOT NULL,"
    " crc32 INTEGER NOT NULL)",
    "CREATE TABLE running (since TEXT NOT NULL)",  # a row while a run has the store
    f"PRAGMA application_id = {APPLICATION_ID}",
    f"PRAGMA user_version = {VERSION}",
)

_Row = tuple[int, int, bytes, bytes, bytes, int, bytes, int]
_ReevaluationRow = tuple[int, bytes, bytes, int, bytes, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reevaluation:
    """Candidates that were ridden again on fresh noise, in number order.

    Parameters
    ----------
    numbers : (re-evaluated candidate,) int64
        Numbers of the candidates.
    evaluation : Evaluation
        Their outcomes on fresh noise, a row for each.
    """

    numbers: NDArray[np.int64]
    evaluation: Evaluation


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
    rides : (candidate, ride, column) float64
    reevaluation : Reevaluation
    """

    frozen: dict[str, str]
    generations: NDArray[np.int64]
    history: History
    rides: Floats
    reevaluation: Reevaluation


def has_schema(connection: sqlite3.Connection, path: Path) -> bool:
    """Say whether the file is one of our stores; False for a file with nothing in it yet.

    Raises
    ------
    UserInputError
        Another program's file, or another version's.
    """
    application_id, version = (
        connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("application_id", "user_version")
    )
    n_tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if application_id == 0 and version == 0 and n_tables == 0:
        return False
    if application_id != APPLICATION_ID:
        raise StoreError(
            f"{path}: an SQLite file of another program, not a study store;"
            " name another folder or move the file away"
        )
    if version != VERSION:
        advice = (
            "update this program"
            if version > VERSION
            else "go on with the program that wrote it, or search anew in another folder"
        )
        raise StoreError(
            f"{path}: a study store of version {version}, this program reads version {VERSION};"
            f" {advice}"
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
        blobs = (parameters.astype("<f8").tobytes(), *outcome_blobs(evaluation, row))
        n_rides = len(evaluation.rides[row])
        yield first_number + row, generation, *blobs[:3], n_rides, blobs[3], checksum(*blobs)


def rows_of_reevaluation(
    numbers: NDArray[np.int64], evaluation: Evaluation
) -> Iterator[_ReevaluationRow]:
    """Return the rows of candidates that were ridden again."""
    for row, number in enumerate(numbers.tolist()):
        blobs = outcome_blobs(evaluation, row)
        n_rides = len(evaluation.rides[row])
        yield number, *blobs[:2], n_rides, blobs[2], checksum(*blobs)


def outcome_blobs(evaluation: Evaluation, row: int) -> tuple[bytes, bytes, bytes]:
    """Return objectives, constraints and rides of one candidate of a batch."""
    return (
        evaluation.objectives[row].astype("<f8").tobytes(),
        evaluation.constraints[row].astype("<f8").tobytes(),
        evaluation.rides[row].astype("<f8").tobytes(),
    )


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
        if shape != first_shape or checksum(*blobs, rides) != crc32:
            raise corrupt(path, f"candidate {number} does not match its checksum")
    history = History(
        values=stacked([row[2] for row in rows]),
        objectives=stacked([row[3] for row in rows]),
        constraints=stacked([row[4] for row in rows]),
    )
    return Table(
        frozen=read_frozen(connection),
        generations=np.array([row[1] for row in rows], dtype=np.int64),
        history=history,
        rides=rides_of([row[6] for row in rows], rows[0][5] if rows else 0),
        reevaluation=read_reevaluation(connection, path),
    )


def read_reevaluation(connection: sqlite3.Connection, path: Path) -> Reevaluation:
    """Return the candidates that were ridden again, checked.

    Raises
    ------
    UserInputError
        Damaged: a row has lost its length or its checksum.
    """
    rows: list[_ReevaluationRow] = connection.execute(
        "SELECT number, objectives, constraints, n_rides, rides, crc32"
        " FROM reevaluation ORDER BY number"
    ).fetchall()
    for number, *blobs, n_rides, rides, crc32 in rows:
        shape = [len(blob) for blob in (*blobs, rides)], n_rides
        if number == rows[0][0]:
            first_shape = shape
        if shape != first_shape or checksum(*blobs, rides) != crc32:
            raise corrupt(
                path, f"the re-evaluation of candidate {number} does not match its checksum"
            )
    return Reevaluation(
        numbers=np.array([row[0] for row in rows], dtype=np.int64),
        evaluation=Evaluation(
            objectives=stacked([row[1] for row in rows]),
            constraints=stacked([row[2] for row in rows]),
            rides=rides_of([row[4] for row in rows], rows[0][3] if rows else 0),
        ),
    )


def rides_of(blobs: list[bytes], n_rides: int) -> Floats:
    """Return the rides of candidates, (candidate, ride, column)."""
    n_columns = len(blobs[0]) // (8 * n_rides) if n_rides else 0
    metrics = np.frombuffer(b"".join(blobs), dtype="<f8")
    return metrics.reshape(len(blobs), n_rides, n_columns).astype(np.float64)


def stacked(blobs: list[bytes]) -> Floats:
    """Return rows of float64 blobs of one length, (candidate, column)."""
    n_columns = len(blobs[0]) // 8 if blobs else 0
    return np.frombuffer(b"".join(blobs), "<f8").reshape(len(blobs), n_columns).astype(np.float64)


def checksum(*blobs: bytes) -> int:
    """Return the CRC-32 over blobs, in their order."""
    return zlib.crc32(b"".join(blobs))
