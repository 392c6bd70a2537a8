"""Opening a store's file for reading or writing, its lock, and whether it is still there."""

import sqlite3
from pathlib import Path
from typing import Any
from urllib.parse import quote

from optimizer.base.errors import StoreError
from optimizer.execution.store_errors import reported
from optimizer.execution.store_format import SCHEMA, check_pages, has_schema


def opened_for_reading(path: Path) -> sqlite3.Connection:
    """Return a connection to a store that changes nothing, also in a read-only folder."""
    address = f"file:{quote(str(path.resolve()))}?mode=ro"
    connection = sqlite3.connect(address, uri=True, isolation_level=None)
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError:
        connection.close()
        # SQLite shares its log through a file that it can not make in a read-only folder. Without
        # a log the file alone is complete, and then it may be read as one that does not change.
        if has_log(path):
            raise
        return sqlite3.connect(f"{address}&immutable=1", uri=True, isolation_level=None)
    except BaseException:
        connection.close()
        raise
    return connection


def place_on_disk(path: Path) -> tuple[int, int] | None:
    """Return which file lies at a path, whatever it is called; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def has_log(path: Path) -> bool:
    """Say whether a store's log holds what its file may not."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def opened_for_writing(path: Path) -> sqlite3.Connection:
    """Return a connection to a store that is made where it is missing.

    Raises
    ------
    UserInputError
        Not a store, damaged, of another version, or not writable.
    """
    with reported(path):
        connection = sqlite3.connect(path, isolation_level=None)
        try:
            if has_schema(connection, path):
                check_pages(connection, path)
                _prepare(connection)
            else:
                _prepare(connection)
                with connection:
                    connection.execute("BEGIN IMMEDIATE")
                    for statement in SCHEMA:
                        connection.execute(statement)
        except BaseException:
            connection.close()
            raise
    return connection


def _prepare(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")


def locked(path: Path) -> Any:
    """Return the held lock of a store.

    Raises
    ------
    UserInputError
        Another run has it, or the folder is missing or can not be written.
    """
    import filelock  # noqa: PLC0415  # slow to load, and who reads locks nothing

    if not path.parent.is_dir():
        raise StoreError(f"{path.parent}: no such folder; make the study folder first")
    lock = filelock.FileLock(
        path.with_name(path.name + ".lock"), thread_local=False, fallback_to_soft=False
    )
    try:
        lock.acquire(blocking=False)
    except filelock.Timeout as error:
        raise StoreError(
            f"{path}: another run is using this study; wait for it, stop it, or use another folder"
        ) from error
    except (OSError, NotImplementedError) as error:
        reason = error.strerror if isinstance(error, OSError) else "no file locks on this disk"
        raise StoreError(
            f"{path.parent}: can not be written ({reason});"
            " allow writing, or copy the study folder to a disk where you can write"
        ) from error
    return lock
