"""What of a damaged study store is whole, and a new store of that alone.

A search follows from its finished generations, so a store that is cut back to whole generations
goes on to the same candidates as one that was never damaged.
"""

import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.base.atomic_files import writing
from optimizer.base.errors import NotStartedError, StoreError
from optimizer.base.unfinished import unfinished_folder
from optimizer.execution.store_errors import FAULTS, reported
from optimizer.execution.store_files import has_log, locked, opened_for_reading
from optimizer.execution.store_format import (
    INSERT_CANDIDATE,
    INSERT_FROZEN,
    INSERT_REEVALUATION,
    SCHEMA,
    candidate_rows,
    fault_of_row,
    has_schema,
    population_of,
    read_frozen,
    reevaluation_rows,
    rows_of_frozen,
)

_LOG, _LOG_INDEX = "-wal", "-shm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What of a store is whole.

    Attributes
    ----------
    fault : str
        The first thing that is wrong; empty where nothing is.
    n_candidates, n_reevaluations : int
        How many are whole: candidates up to the first generation that is not, and re-evaluations
        of these.
    n_dropped, n_dropped_reevaluations : int
        How many others there are that can be read; a repair drops them and what can not be read.
    """

    fault: str
    n_candidates: int
    n_reevaluations: int
    n_dropped: int
    n_dropped_reevaluations: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Whole:
    """The rows of a store that are whole, and what was found beside them."""

    frozen: dict[str, str]
    candidates: list[tuple[Any, ...]]
    reevaluations: list[tuple[Any, ...]]
    findings: Findings


def examine(path: Path) -> Findings:
    """Return what of a store is whole, without changing it.

    Raises
    ------
    UserInputError
        There is no store, it is of another version, or nothing of it can be kept.
    """
    _refuse_missing(path)
    return _whole_rows(path).findings


def cut_back(path: Path) -> Path:
    """Replace a damaged store by one of its whole rows; return where the damaged one is kept.

    Raises
    ------
    UserInputError
        As of `examine`, or a run has the store, or the disk is full or can not be written; the
        store stays as it is then.
    """
    _refuse_missing(path)
    with locked(path), writing(path):
        whole = _whole_rows(path)
        kept = _free_name(path)
        shutil.copy2(path, kept)
        if has_log(path):
            shutil.copy2(_beside(path, _LOG), _beside(kept, _LOG))
        with unfinished_folder(path) as folder:
            new = folder / path.name
            with reported(path):
                _write(new, whole)
            # A log of the damaged store must not be taken for one of the new.
            for end in (_LOG, _LOG_INDEX):
                _beside(path, end).unlink(missing_ok=True)
            new.replace(path)
    return kept


def _refuse_missing(path: Path) -> None:
    if not path.is_file():
        raise NotStartedError(f"{path}: there is no study store to repair; check the folder")


def _beside(path: Path, end: str) -> Path:
    return path.with_name(path.name + end)


def _free_name(path: Path) -> Path:
    """Return the first name beside a store under which no damaged one is kept yet."""
    number = 1
    while (kept := path.with_name(f"{path.stem}.damaged-{number}{path.suffix}")).exists():
        number += 1
    return kept


def _whole_rows(path: Path) -> _Whole:
    with reported(path), closing(opened_for_reading(path)) as connection:
        if not has_schema(connection, path):
            raise NotStartedError(f"{path}: the study store is empty; there is nothing to repair")
        connection.execute("BEGIN")
        frozen = _frozen(connection, path)
        candidates, unread = _readable(candidate_rows(connection))
        n_whole, broken = _n_whole(
            candidates, population=population_of(frozen, (row[1] for row in candidates))
        )
        again, again_unread = _readable(reevaluation_rows(connection))
        whole_again = _whole_again(again, n_candidates=n_whole)
        page_fault = _page_fault(connection)
    again_broken = "" if len(whole_again) == len(again) else "re-evaluations are not whole"
    return _Whole(
        frozen=frozen,
        candidates=candidates[:n_whole],
        reevaluations=whole_again,
        findings=Findings(
            fault=broken or unread or again_broken or again_unread or page_fault,
            n_candidates=n_whole,
            n_reevaluations=len(whole_again),
            n_dropped=len(candidates) - n_whole,
            n_dropped_reevaluations=len(again) - len(whole_again),
        ),
    )


def _frozen(connection: sqlite3.Connection, path: Path) -> dict[str, str]:
    try:
        return read_frozen(connection, path)
    except (StoreError, *FAULTS):
        raise StoreError(
            f"{path}: what the study was started with is damaged, so nothing of the store can be"
            " kept; restore it from a backup, or start a new study folder from study.toml"
        ) from None


def _readable(rows: Iterator[tuple[Any, ...]]) -> tuple[list[tuple[Any, ...]], str]:
    """Return rows up to the first that can not be read, and why that one can not."""
    read: list[tuple[Any, ...]] = []
    try:
        read.extend(rows)
    except FAULTS as error:
        return read, _said(error)
    return read, ""


def _n_whole(rows: Sequence[tuple[Any, ...]], *, population: int) -> tuple[int, str]:
    """Return how many candidates are whole generations, and what is wrong with the next."""
    fault = ""
    n_whole = 0
    for place, row in enumerate(rows):
        if row[0] != place:
            fault = f"candidate {place} is missing"
        elif found := fault_of_row(row, rows[0]):
            fault = f"candidate {place} {found}"
        elif row[1] != place // population:
            fault = f"candidate {place} is of generation {row[1]}, expected {place // population}"
        if fault:
            break
        n_whole = place + 1
    if not fault and n_whole % population:
        fault = f"generation {n_whole // population} has {n_whole % population} candidates"
    return n_whole - n_whole % population, fault


def _whole_again(rows: Sequence[tuple[Any, ...]], *, n_candidates: int) -> list[tuple[Any, ...]]:
    """Return the re-evaluations that are whole, of candidates that are."""
    sound = [row for row in rows if fault_of_row(row, row) is None and 0 <= row[0] < n_candidates]
    return [row for row in sound if fault_of_row(row, sound[0]) is None]


def _page_fault(connection: sqlite3.Connection) -> str:
    """Return what SQLite finds wrong with the pages, whatever lies on them."""
    try:
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    except FAULTS as error:
        return _said(error)
    return "" if found == "ok" else _said(found)


def _said(found: object) -> str:
    return " ".join(str(found).split())


def _write(path: Path, whole: _Whole) -> None:
    """Write rows as they lay in the damaged store into a new one."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection, connection:
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("BEGIN IMMEDIATE")
        for statement in SCHEMA:
            connection.execute(statement)
        connection.executemany(INSERT_FROZEN, rows_of_frozen(whole.frozen))
        connection.executemany(INSERT_CANDIDATE, whole.candidates)
        connection.executemany(INSERT_REEVALUATION, whole.reevaluations)
