"""The study store: one SQLite file that holds every finished candidate.

A generation is ridden as one batch and stored in ONE transaction. Losing power or being killed at
any moment therefore leaves whole generations only, and since the next generation follows from the
stored ones alone, a resumed study is exactly the uninterrupted one; at most one generation of
riding is done again. The write-ahead log lets others read while a run writes; each commit is on the
disk before it returns (synchronous=FULL). A lock file beside the store keeps a second run out; the
operating system releases it even when the holder is killed. Where the lock is gone, by hand or on
a disk without locks, the transaction itself lets in no generation but the next one.
"""

from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from optimizer.base.errors import NotStartedError
from optimizer.execution.frozen_inputs import refuse_differences
from optimizer.execution.store_errors import gone, reported, taken_by_another
from optimizer.execution.store_files import (
    locked,
    opened_for_reading,
    opened_for_writing,
    place_on_disk,
)
from optimizer.execution.store_format import (
    INSERT_CANDIDATE,
    INSERT_FROZEN,
    INSERT_REEVALUATION,
    Reevaluation,
    Table,
    check_pages,
    has_schema,
    read_frozen,
    read_reevaluation,
    read_rows,
    refuse_broken_generations,
    rides_of,
    rows_of_frozen,
    rows_of_generation,
    rows_of_reevaluation,
)
from optimizer.search.evaluation import Evaluation, History
from plant.arrays import Floats


class Store:
    """A study store open for a run; use it in a `with` block.

    Parameters
    ----------
    path : Path
        The store's file, made if it is not there; its folder must exist.

    Raises
    ------
    UserInputError
        In use by another run, not a store, damaged, of a newer version, or not writable.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = locked(path)
        try:
            self._connection = opened_for_writing(path)
            self._place = place_on_disk(path)
            self._frozen: dict[str, str] | None = None
            self._interrupted = self._begin()
        except BaseException:
            self._lock.release()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()
        if error is None:
            self._refuse_if_gone()

    @property
    def path(self) -> Path:
        """The store's file."""
        return self._path

    @property
    def interrupted(self) -> bool:
        """Whether the run before was killed, so that what it had in hand is not stored."""
        return self._interrupted

    @property
    def n_candidates(self) -> int:
        """Number of finished candidates."""
        with reported(self._path):
            return int(self._connection.execute("SELECT count(*) FROM candidate").fetchone()[0])

    def close(self) -> None:
        """Fold the log into the file and let other runs in."""
        try:
            with reported(self._path):
                try:
                    self._connection.execute("DELETE FROM running")
                finally:
                    self._connection.close()
        finally:
            self._lock.release()

    def _begin(self) -> bool:
        """Mark the store as in use; return whether a run that was killed has left its mark."""
        with self._writing():
            found = self._connection.execute("SELECT count(*) FROM running").fetchone()[0]
            self._connection.execute("DELETE FROM running")
            self._connection.execute("INSERT INTO running VALUES (datetime('now'))")
        return bool(found)

    def freeze(self, inputs: Mapping[str, str]) -> None:
        """Store inputs that decide the sequence, or compare them with those stored before.

        Raises
        ------
        UserInputError
            An input differs from the stored one, or is new to a store that has candidates.
        """
        with self._writing():
            stored = read_frozen(self._connection, self._path)
            if self.n_candidates:
                refuse_differences(self._path, stored, inputs)
                self._frozen = stored
                return
            frozen = stored | dict(inputs)
            self._connection.execute("DELETE FROM frozen")
            self._connection.executemany(INSERT_FROZEN, rows_of_frozen(frozen))
        self._frozen = frozen

    def keep(self, texts: Mapping[str, str]) -> None:
        """Store texts that decide nothing, in place of earlier ones under their names."""
        with self._writing():
            kept = read_frozen(self._connection, self._path) | dict(texts)
            self._connection.execute("DELETE FROM frozen")
            self._connection.executemany(INSERT_FROZEN, rows_of_frozen(kept))
        if self._frozen is not None:
            self._frozen = kept

    def append(self, generation: int, values: Floats, evaluation: Evaluation) -> None:
        """Store a generation, whole or not at all, numbered on from the last candidate.

        Raises
        ------
        UserInputError
            The disk is full or fails, or another run has stored this generation or deleted the
            store; the generations before are kept.
        """
        with self._writing():
            n_candidates = self.n_candidates
            if n_candidates != generation * len(values):
                raise taken_by_another(self._path, f"generation {generation}")
            self._refuse_other_inputs()
            self._connection.executemany(
                INSERT_CANDIDATE,
                rows_of_generation(generation, n_candidates, values, evaluation),
            )

    def append_reevaluation(self, numbers: NDArray[np.int64], evaluation: Evaluation) -> None:
        """Store what candidates did on fresh noise, all of them or none.

        Raises
        ------
        UserInputError
            The disk is full or fails, or another run has stored one of them or deleted the store;
            what was stored before is kept.
        """
        with self._writing():
            self._refuse_other_inputs()
            stored = {row[0] for row in self._connection.execute("SELECT number FROM reevaluation")}
            for number in numbers.tolist():
                if number in stored:
                    raise taken_by_another(self._path, f"the re-evaluation of candidate {number}")
            self._connection.executemany(
                INSERT_REEVALUATION,
                rows_of_reevaluation(numbers, evaluation),
            )

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Keep all that the block writes or, after an error, nothing of it."""
        with reported(self._path), self._connection:
            self._connection.execute("BEGIN IMMEDIATE")
            yield
            self._refuse_if_gone()

    def _refuse_if_gone(self) -> None:
        if place_on_disk(self._path) != self._place:
            raise gone(self._path)

    def _refuse_other_inputs(self) -> None:
        """Refuse to go on after another run has frozen other inputs."""
        if self._frozen is None:
            return
        if read_frozen(self._connection, self._path) != self._frozen:
            raise taken_by_another(self._path, "other inputs")

    def reevaluation(self) -> Reevaluation:
        """Return the candidates that were ridden again."""
        with reported(self._path):
            return read_reevaluation(self._connection, self._path)

    def rides(self, numbers: range) -> Floats:
        """Return how candidates of rising number rode, (candidate, ride, column)."""
        with reported(self._path):
            rows = self._connection.execute(
                "SELECT rides, n_rides FROM candidate WHERE number >= ? AND number < ?"
                " ORDER BY number",
                (numbers.start, numbers.stop),
            ).fetchall()
        return rides_of([row[0] for row in rows], rows[0][1] if rows else 0)

    def history(self, *, population: int) -> History:
        """Return all finished candidates, checked to be whole generations of `population`."""
        with reported(self._path):
            table = read_rows(self._connection, self._path)
        refuse_broken_generations(self._path, table.generations, population=population)
        return table.history


def read_table(path: Path) -> Table:
    """Return a store's content without changing or locking it, also from a read-only folder.

    Raises
    ------
    UserInputError
        Missing, not a store, damaged or of a newer version.
    """
    if not path.is_file():
        raise NotStartedError(f"{path}: no study store here; run the study first")
    with reported(path), closing(opened_for_reading(path)) as connection:
        if not has_schema(connection, path):
            raise NotStartedError(f"{path}: the study store is empty; run the study first")
        check_pages(connection, path)
        # One read transaction, so a run that writes meanwhile does not change what is read.
        connection.execute("BEGIN")
        return read_rows(connection, path)


def how_far(path: Path) -> tuple[int, bool]:
    """Return how many candidates a store holds, and whether a run has it; 0 without a store.

    A run that was killed leaves its mark until the next one.

    Raises
    ------
    UserInputError
        Not a store, damaged or of a newer version.
    """
    if not path.is_file():
        return 0, False
    with reported(path), closing(opened_for_reading(path)) as connection:
        if not has_schema(connection, path):
            return 0, False
        n_candidates, n_running = connection.execute(
            "SELECT (SELECT count(*) FROM candidate), (SELECT count(*) FROM running)"
        ).fetchone()
    return int(n_candidates), bool(n_running)


def started_with(path: Path, key: str, *, study_digest: str | None = None) -> str | None:
    """Return an input that a study's search was started with; None before its first candidate.

    Parameters
    ----------
    path : Path
    key : str
    study_digest : str, optional
        None also where the search was started with another study than this.

    Raises
    ------
    UserInputError
        Not a store, damaged or of a newer version.
    """
    if not path.is_file():
        return None
    with reported(path), closing(opened_for_reading(path)) as connection:
        if not has_schema(connection, path):
            return None
        n_candidates = connection.execute("SELECT count(*) FROM candidate").fetchone()[0]
        frozen = read_frozen(connection, path) if n_candidates else {}
    known = study_digest is None or frozen.get("study.digest") == study_digest
    return frozen.get(key) if known else None
