"""A PostgreSQL database at which the machines of one study meet.

It keeps the inputs that decide the study and every candidate's outcome. The machine that rides a
candidate holds an advisory lock on it: the server frees the locks of a session that ends, however
it ends, so there is no lease to renew and no clock to agree on. A machine that lost its power is
found out by the keep-alive packets of TCP, one that stands still by the server's limit on idle
sessions.
"""

import socket
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from os import getpid
from typing import Any

import psycopg
from psycopg.rows import tuple_row

from optimizer.base.database_url import shown_address, without_passwords
from optimizer.base.errors import MachineError
from optimizer.execution.frozen_inputs import refuse_differences

_VERSION = "5"
_SESSION = (
    "SET tcp_keepalives_idle = 10",
    "SET tcp_keepalives_interval = 5",
    "SET tcp_keepalives_count = 3",
    "SET idle_session_timeout = '15min'",  # assumed: far above what a few candidates take
)
_SCHEMA = (
    "CREATE SCHEMA IF NOT EXISTS levelgain",
    "CREATE TABLE IF NOT EXISTS levelgain.frozen (key TEXT PRIMARY KEY, text TEXT NOT NULL)",
    "CREATE TABLE IF NOT EXISTS levelgain.outcome (key BYTEA PRIMARY KEY, noise BYTEA NOT NULL,"
    " parameters BYTEA NOT NULL, objectives BYTEA NOT NULL, constraints BYTEA NOT NULL,"
    " n_rides INTEGER NOT NULL, rides BYTEA NOT NULL, crc32 BIGINT NOT NULL,"
    " ridden_by TEXT NOT NULL, stored BIGINT GENERATED ALWAYS AS IDENTITY)",
)
_SCHEMA_LOCK = int.from_bytes(b"levelgn\0", "big")
_STORED = "SELECT key FROM levelgain.outcome WHERE key = ANY(%s)"
_OUTCOMES = (
    "SELECT key, parameters, objectives, constraints, n_rides, rides, crc32"
    " FROM levelgain.outcome WHERE key = ANY(%s)"
)
_FIRST = (
    "SELECT key, parameters, objectives, constraints, n_rides, rides, crc32"
    " FROM levelgain.outcome WHERE noise = %s AND ridden_by <> %s ORDER BY stored LIMIT 1"
)
_STORE = (
    "INSERT INTO levelgain.outcome (key, parameters, objectives, constraints, n_rides, rides,"
    " crc32, noise, ridden_by) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)"
)
_CLAIM = (
    "SELECT pg_try_advisory_lock(lock) FROM unnest(%s::bigint[])"
    " WITH ORDINALITY AS wanted (lock, place) ORDER BY place"
)
_FREE = "SELECT pg_advisory_unlock(lock) FROM unnest(%s::bigint[]) AS mine (lock)"

# In the order of the columns that _OUTCOMES asks for.
OutcomeRow = tuple[bytes, bytes, bytes, bytes, int, bytes, int]


class Database:
    """An open session at the database of a study; get one from `joined`."""

    def __init__(self, connection: psycopg.Connection[Any], address: str) -> None:
        self._connection = connection
        self._address = address
        self._rider = f"{socket.gethostname()}/{getpid()}"

    @property
    def shown(self) -> str:
        """The address without its password."""
        return shown_address(self._address)

    def stored(self, keys: Sequence[bytes]) -> set[bytes]:
        """Return which of the keys have an outcome."""
        with _reported(self._address):
            found = self._connection.execute(_STORED, [list(keys)]).fetchall()
        return {row[0] for row in found}

    def outcomes(self, keys: Sequence[bytes]) -> dict[bytes, OutcomeRow]:
        """Return the stored outcomes by key."""
        with _reported(self._address):
            found = self._connection.execute(_OUTCOMES, [list(keys)]).fetchall()
        return {row[0]: row for row in found}

    def first_outcome(self, noise: bytes) -> OutcomeRow | None:
        """Return the outcome on this noise that was stored first by another session, if any."""
        with _reported(self._address):
            row: OutcomeRow | None = self._connection.execute(
                _FIRST, [noise, self._rider]
            ).fetchone()
        return row

    def store(self, noise: bytes, rows: Sequence[OutcomeRow]) -> None:
        """Store outcomes, all of them or none."""
        with (
            _reported(self._address),
            self._connection.transaction(),
            self._connection.cursor() as cursor,
        ):
            cursor.executemany(_STORE, [(*row, noise, self._rider) for row in rows])

    @contextmanager
    def claimed(self, keys: Sequence[bytes]) -> Iterator[list[bytes]]:
        """Claim what nobody else has claimed of the keys, until the end of the block."""
        locks = [_lock_number(key) for key in keys]
        with _reported(self._address):
            taken = self._connection.execute(_CLAIM, [locks]).fetchall()
        mine = [key for key, (got,) in zip(keys, taken, strict=True) if got]
        try:
            yield mine
        finally:
            # A session that is gone has lost its claims already.
            if mine and not self._connection.closed:
                with _reported(self._address):
                    self._connection.execute(_FREE, [[_lock_number(key) for key in mine]])


@contextmanager
def joined(address: str, inputs: Mapping[str, str]) -> Iterator[Database]:
    """Open a session at the study's database, made ready if it is new.

    Parameters
    ----------
    address : str
        Of a database of this study alone, as libpq reads it; it fills in from its environment and
        its password file what the address leaves out.
    inputs : mapping of str to str
        What decides the study's candidates and their outcomes.

    Raises
    ------
    UserInputError
        The database does not answer, or holds a study of other inputs.
    """
    with _reported(address):
        connection = psycopg.connect(
            address,
            autocommit=True,
            connect_timeout=10,
            keepalives_idle=10,
            keepalives_interval=5,
            keepalives_count=3,
            row_factory=tuple_row,
        )
    try:
        with _reported(address):
            for statement in _SESSION:
                connection.execute(statement)
            _freeze(connection, {"database.version": _VERSION, **inputs}, address)
        yield Database(connection, address)
    finally:
        connection.close()


def _freeze(connection: psycopg.Connection[Any], inputs: Mapping[str, str], address: str) -> None:
    """Store the inputs of the first machine; refuse another one's that differ."""
    with connection.transaction():
        # One machine at a time: making a schema 'if not exists' is no protection against two.
        connection.execute("SELECT pg_advisory_xact_lock(%s)", [_SCHEMA_LOCK])
        connection.execute("SET LOCAL client_min_messages = warning")
        for statement in _SCHEMA:
            connection.execute(statement)
        stored = dict(connection.execute("SELECT key, text FROM levelgain.frozen").fetchall())
        if stored:
            refuse_differences(
                shown_address(address), stored, inputs, anew="use a database of its own"
            )
            return
        with connection.cursor() as cursor:
            cursor.executemany(
                "INSERT INTO levelgain.frozen VALUES (%s, %s)", sorted(inputs.items())
            )


def _lock_number(key: bytes) -> int:
    return int.from_bytes(key[:8], "big", signed=True)


@contextmanager
def _reported(address: str) -> Iterator[None]:
    """Turn the database's errors inside the block into a `UserInputError` without passwords."""
    try:
        yield
    except psycopg.Error as error:
        reason = " ".join(without_passwords(str(error), address).split())
        raise MachineError(
            f"{shown_address(address)}: the database refuses or does not answer ({reason});"
            " every finished candidate is kept: check the database and the address, then resume"
        ) from None
