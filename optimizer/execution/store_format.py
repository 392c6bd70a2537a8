"""How candidates lie in the study store: its tables, its rows and the checks when they are read.

Numbers are little-endian blobs of float64. Rides are kept as exactly as they were scored, so that
another study can score them again. Each row carries the CRC-32 of all that it holds, its number
and counts too, because SQLite's own check sees a broken page but neither a flipped bit inside a
number nor a row under another one's number. A frozen text's covers how many there are.
"""

import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from optimizer.base.errors import StoreError
from optimizer.execution.store_errors import corrupt
from optimizer.search.evaluation import Evaluation, History
from optimizer.search.frozen_settings import POPULATION
from plant.arrays import Floats

# Four letters in the file's header that distinguish our stores from other programs' SQLite files.
APPLICATION_ID = int.from_bytes(b"lvgn", "big")
VERSION = 7

SCHEMA = (
    "CREATE TABLE frozen (key TEXT PRIMARY KEY, text TEXT NOT NULL, crc32 INTEGER NOT NULL)"
    " WITHOUT ROWID",
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

_CANDIDATES = (
    "SELECT number, generation, parameters, objectives, constraints, n_rides, rides, crc32"
    " FROM candidate"
)
_REEVALUATIONS = "SELECT number, objectives, constraints, n_rides, rides, crc32 FROM reevaluation"
INSERT_FROZEN = "INSERT INTO frozen VALUES (?, ?, ?)"
INSERT_CANDIDATE = "INSERT INTO candidate VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
INSERT_REEVALUATION = "INSERT INTO reevaluation VALUES (?, ?, ?, ?, ?, ?)"
_RIDES: Final = 6  # place of the rides in a candidate's row
_FROZEN = "SELECT key, text, crc32 FROM frozen ORDER BY key"

_FrozenRow = tuple[str, str, int]
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


def rows_of_frozen(inputs: Mapping[str, str]) -> Iterator[_FrozenRow]:
    """Return the rows of all frozen texts of a store."""
    for place, (key, text) in enumerate(sorted(inputs.items())):
        yield key, text, checksum(place, len(inputs), key, text)


def rows_of_generation(
    generation: int, first_number: int, values: Floats, evaluation: Evaluation
) -> Iterator[_Row]:
    """Return the rows of a generation, the first of them numbered `first_number`."""
    for row, parameters in enumerate(values):
        blobs = (parameters.astype("<f8").tobytes(), *outcome_blobs(evaluation, row))
        n_rides = len(evaluation.rides[row])
        held = (first_number + row, generation, *blobs[:3], n_rides, blobs[3])
        yield *held, checksum(*held)


def rows_of_reevaluation(
    numbers: NDArray[np.int64], evaluation: Evaluation
) -> Iterator[_ReevaluationRow]:
    """Return the rows of candidates that were ridden again."""
    for row, number in enumerate(numbers.tolist()):
        blobs = outcome_blobs(evaluation, row)
        held = (number, *blobs[:2], len(evaluation.rides[row]), blobs[2])
        yield *held, checksum(*held)


def outcome_blobs(evaluation: Evaluation, row: int) -> tuple[bytes, bytes, bytes]:
    """Return objectives, constraints and rides of one candidate of a batch."""
    return (
        evaluation.objectives[row].astype("<f8").tobytes(),
        evaluation.constraints[row].astype("<f8").tobytes(),
        evaluation.rides[row].astype("<f8").tobytes(),
    )


def read_frozen(connection: sqlite3.Connection, path: Path) -> dict[str, str]:
    """Return the frozen texts by key, checked.

    Raises
    ------
    UserInputError
        Damaged: a text is missing or does not match its checksum.
    """
    rows: list[_FrozenRow] = connection.execute(_FROZEN).fetchall()
    for place, (key, text, crc32) in enumerate(rows):
        if checksum(place, len(rows), key, text) != crc32:
            raise corrupt(path, "what it was started with does not match its checksum")
    return {key: text for key, text, _ in rows}


def candidate_rows(connection: sqlite3.Connection) -> Iterator[_Row]:
    """Yield the rows of candidates as they lie in the file, in number order."""
    yield from connection.execute(f"{_CANDIDATES} ORDER BY number")


def reevaluation_rows(connection: sqlite3.Connection) -> Iterator[_ReevaluationRow]:
    """Yield the rows of candidates that were ridden again as they lie in the file."""
    yield from connection.execute(f"{_REEVALUATIONS} ORDER BY number")


def fault_of_row(row: Sequence[Any], first: Sequence[Any]) -> str | None:
    """Return what is wrong with a row by itself; None where nothing is.

    Parameters
    ----------
    row : sequence
        A candidate's or a re-evaluation's.
    first : sequence
        The first row of the same table, whose lengths all others have.
    """
    if checksum(*row[:-1]) != row[-1]:
        return "does not match its checksum"
    if _lengths(row) != _lengths(first):
        return "has another shape than the first"
    return None


def _lengths(row: Sequence[Any]) -> list[int]:
    """Return the lengths of a row's blobs, and its number of rides."""
    return [len(field) for field in row if isinstance(field, bytes)] + [row[-3]]


def population_of(frozen: Mapping[str, str], generations: Iterable[int]) -> int:
    """Return how many candidates a generation of a store has."""
    written = frozen.get(POPULATION, "")
    return int(written) if written else max(1, sum(number == 0 for number in generations))


def read_rows(connection: sqlite3.Connection, path: Path) -> Table:
    """Return the whole table, checked.

    Raises
    ------
    UserInputError
        Damaged: a row is missing, has another shape than the first or does not match its checksum,
        or the rows are not whole generations.
    """
    frozen = read_frozen(connection, path)
    rows: list[tuple[Any, ...]] = []
    rides = bytearray()  # most of a store: no other copy of them is made
    first: _Row | None = None
    for expected, row in enumerate(candidate_rows(connection)):
        first = first or row
        if row[0] != expected:
            raise corrupt(path, f"candidate {expected} is missing")
        if fault := fault_of_row(row, first):
            raise corrupt(path, f"candidate {expected} {fault}")
        rows.append(row[:_RIDES])
        rides += row[_RIDES]
    generations = np.array([row[1] for row in rows], dtype=np.int64)
    refuse_broken_generations(path, generations, population=population_of(frozen, generations))
    history = History(
        values=stacked([row[2] for row in rows]),
        objectives=stacked([row[3] for row in rows]),
        constraints=stacked([row[4] for row in rows]),
    )
    return Table(
        frozen=frozen,
        generations=generations,
        history=history,
        rides=_rides(rides, n_candidates=len(rows), n_rides=first[5] if first else 0),
        reevaluation=read_reevaluation(connection, path),
    )


def refuse_broken_generations(
    path: Path, generations: NDArray[np.int64], *, population: int
) -> None:
    """Raise a `UserInputError` unless generations of candidates follow each other, all whole."""
    expected = np.arange(len(generations)) // population
    if len(expected) % population or not np.array_equal(generations, expected):
        raise corrupt(path, f"its rows are not generations of {population}")


def read_reevaluation(connection: sqlite3.Connection, path: Path) -> Reevaluation:
    """Return the candidates that were ridden again, checked.

    Raises
    ------
    UserInputError
        Damaged: a row has another shape than the first, does not match its checksum or is of no
        candidate.
    """
    rows = list(reevaluation_rows(connection))
    n_candidates = connection.execute("SELECT count(*) FROM candidate").fetchone()[0]
    for row in rows:
        fault = fault_of_row(row, rows[0])
        if fault is None and not 0 <= row[0] < n_candidates:
            fault = "is of no candidate"
        if fault:
            raise corrupt(path, f"the re-evaluation of candidate {row[0]} {fault}")
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
    return _rides(bytearray().join(blobs), n_candidates=len(blobs), n_rides=n_rides)


def _rides(raw: bytearray, *, n_candidates: int, n_rides: int) -> Floats:
    n_all = n_candidates * n_rides
    n_columns = len(raw) // (8 * n_all) if n_all else 0
    return _numbers(raw).reshape(n_candidates, n_rides, n_columns)


def stacked(blobs: list[bytes]) -> Floats:
    """Return rows of float64 blobs of one length, (candidate, column)."""
    n_columns = len(blobs[0]) // 8 if blobs else 0
    return _numbers(bytearray().join(blobs)).reshape(len(blobs), n_columns)


def _numbers(raw: bytearray) -> Floats:
    """Return the numbers of blobs that were joined, (number,), without a copy.

    A bytearray can be written to, so the array is as any other.
    """
    return np.frombuffer(raw, dtype="<f8").astype(np.float64, copy=False)


def checksum(*fields: object) -> int:
    """Return the CRC-32 over fields in their order, each with its type and length."""
    crc32 = 0
    for field in fields:
        raw = field if isinstance(field, bytes) else str(field).encode()
        crc32 = zlib.crc32(f"{type(field).__name__} {len(raw)} ".encode(), crc32)
        crc32 = zlib.crc32(raw, crc32)
    return crc32
