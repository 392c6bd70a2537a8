"""SQLite's faults as one line each for the user."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optimizer.base.errors import StoreError

# What reading a damaged file raises; a flipped bit in its schema is no UTF-8.
FAULTS = (sqlite3.DatabaseError, UnicodeDecodeError)

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
        f"{path}: the study store is damaged ({reason}); see what of it is whole with"
        f" `levelgain repair {path.parent}`, restore it from a backup,"
        " or start a new study folder from the same study.toml"
    )


def gone(path: Path) -> StoreError:
    """Return the error for a store that was taken away while a run had it."""
    return StoreError(
        f"{path}: the study store was deleted, moved or replaced during the run, which stops;"
        " put it back and resume, or start anew"
    )


def taken_by_another(path: Path, what: str) -> StoreError:
    """Return the error for a run that finds another run's work in its store."""
    return StoreError(
        f"{path}: another run uses this study too and has stored {what}; this run stops, and what"
        " the other stored is kept: let only one run at a time, then resume"
    )


@contextmanager
def reported(path: Path) -> Iterator[None]:
    """Turn SQLite's errors inside the block into a `StoreError` that names the file."""
    try:
        yield
    except sqlite3.ProgrammingError:
        raise  # the module was misused; that is no fault of the file
    except FAULTS as error:
        # Extended codes keep the primary code in their low byte; a text that is no UTF-8 has none.
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
        if code in _ADVICE:
            raise StoreError(f"{path}: {_ADVICE[code]}") from error
        raise corrupt(path, " ".join(str(error).split())) from error
