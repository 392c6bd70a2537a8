"""SQLite's faults as one line each for the user."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optimizer.base.errors import StoreError

_ADVICE = {
    sqlite3.SQLITE_FULL: (
        "the disk is full; every finished generation is kept: free some space and resume"
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk did not take or give the data; every finished generation is kept:"
        " check the disk and its free space and resume"
    ),
    sqlite3.SQLITE_READONLY: (
        "it can not be written; allow writing to the file and its folder, or copy the folder"
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "it can not be opened; check that the file and its folder can be read and written"
    ),
    sqlite3.SQLITE_PERM: "it can not be opened; check that the file can be read and written",
    sqlite3.SQLITE_NOTADB: (
        "it is not a study store (SQLite expected); name another folder or move the file away"
    ),
    sqlite3.SQLITE_BUSY: "another program holds it; close that program and try again",
    sqlite3.SQLITE_LOCKED: "another program holds it; close that program and try again",
}


def corrupt(path: Path, reason: str) -> StoreError:
    """Return the error for a damaged store."""
    return StoreError(
        f"{path}: the study store is damaged ({reason}); restore it from a backup,"
        " or start a new study folder from the same study.toml"
    )


@contextmanager
def reported(path: Path) -> Iterator[None]:
    """Turn SQLite's errors inside the block into a `StoreError` that names the file."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        # Extended codes keep the primary code in their low byte; misuse of the module has no code.
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_MISUSE) & 0xFF
        if code in _ADVICE:
            raise StoreError(f"{path}: {_ADVICE[code]}") from error
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_ERROR):
            raise corrupt(path, str(error)) from error
        raise
