"""A damaged store is cut back to its whole generations, and goes on to the same bytes."""

import sqlite3
from contextlib import closing

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.execution.store import Store, read_table
from optimizer.execution.store_format import INSERT_CANDIDATE, rows_of_generation
from optimizer.execution.store_repair import cut_back, examine
from optimizer.search import loop
from tests.optimizer.analytic import narrow, small_plan

POPULATION = 8


def searched(path, n_candidates=40):
    with Store(path) as store:
        loop.run(
            narrow,
            small_plan(seed=20, population=POPULATION),
            store,
            n_candidates=n_candidates,
        )


def reevaluated(path, *numbers):
    table = read_table(path)
    with Store(path) as store:
        store.append_reevaluation(np.array(numbers), narrow(table.history.values[list(numbers)]))


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "store.sqlite"
    searched(path)
    reevaluated(path, 0, 3, 11, 30)
    return path


def edit(path, statement, *rows):
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executemany(statement, rows) if rows else connection.execute(statement)


def content(path):
    table = read_table(path)
    outcome = table.history.values, table.history.objectives, table.history.constraints, table.rides
    return [part.tobytes() for part in outcome], table.frozen


def test_a_whole_store_is_said_to_be_whole(path):
    found = examine(path)

    assert found.fault == ""
    assert (found.n_candidates, found.n_reevaluations, found.n_dropped) == (40, 4, 0)


def test_a_generation_that_was_appended_twice_is_dropped_and_searched_again(path):
    """Two runs without a lock used to leave this, each row whole by itself."""
    before, expected = path.read_bytes(), content(path)
    edit(path, "DELETE FROM candidate WHERE number >= 32")
    table = read_table_rows(path, 24, 32)
    edit(path, INSERT_CANDIDATE, *rows_of_generation(3, 32, table, narrow(table)))
    damaged = path.read_bytes()
    with pytest.raises(UserInputError, match="`levelgain repair "):
        read_table(path)

    found = examine(path)
    assert path.read_bytes() == damaged != before
    kept = cut_back(path)

    assert found.fault == "candidate 32 is of generation 3, expected 4"
    assert (found.n_candidates, found.n_dropped) == (32, 8)
    assert (found.n_reevaluations, found.n_dropped_reevaluations) == (4, 0)
    assert kept.name == "store.damaged-1.sqlite"
    assert kept.read_bytes() == damaged
    assert examine(path).fault == ""
    searched(path)
    assert content(path) == expected
    left = [file.name for file in path.parent.iterdir() if "unfinished" in file.name]
    assert left == []


def read_table_rows(path, start, stop):
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute(
            "SELECT parameters FROM candidate WHERE number >= ? AND number < ?", (start, stop)
        ).fetchall()
    return np.stack([np.frombuffer(row[0], "<f8") for row in rows])


def test_a_flipped_bit_costs_its_generation_and_the_later_ones(path):
    expected = content(path)
    edit(path, "UPDATE candidate SET generation = 9 WHERE number = 19")

    cut_back(path)

    found = examine(path)
    assert (found.fault, found.n_candidates, found.n_reevaluations) == ("", 16, 3)
    searched(path)
    assert content(path) == expected


def test_a_damaged_reevaluation_costs_itself_alone(path):
    edit(path, "UPDATE reevaluation SET number = 12 WHERE number = 11")

    found = examine(path)
    cut_back(path)

    assert "re-evaluations are not whole" in found.fault
    assert (found.n_dropped, found.n_dropped_reevaluations) == (0, 1)
    assert read_table(path).reevaluation.numbers.tolist() == [0, 3, 30]


def test_pages_that_can_not_be_read_are_left_behind(path):
    expected = content(path)
    with closing(sqlite3.connect(path)) as connection:
        size = connection.execute("PRAGMA page_size").fetchone()[0]
    damaged = bytearray(path.read_bytes())
    place = damaged.index(read_table_rows(path, 20, 21).tobytes())
    start = place // size * size
    damaged[start : start + size] = bytes(size)
    path.write_bytes(damaged)
    with pytest.raises(UserInputError, match="the study store is damaged"):
        read_table(path)

    cut_back(path)

    assert examine(path).n_candidates <= 16
    searched(path)
    assert content(path) == expected


def test_each_repair_keeps_the_damaged_store_under_a_name_of_its_own(path):
    names = []
    for number in (39, 31):
        edit(path, "UPDATE candidate SET n_rides = 1 WHERE number = ?", (number,))
        names.append(cut_back(path).name)

    assert names == ["store.damaged-1.sqlite", "store.damaged-2.sqlite"]


def test_a_log_beside_the_damaged_store_is_kept_with_it_and_not_played_into_the_new(path):
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA wal_autocheckpoint = 0")
        connection.execute("UPDATE candidate SET generation = 9 WHERE number = 35")

        kept = cut_back(path)

    assert examine(path).n_candidates == 32
    assert kept.with_name(kept.name + "-wal").stat().st_size > 0
    assert examine(kept).n_candidates == 32


def test_a_store_whose_inputs_are_damaged_is_not_repaired(path):
    edit(path, "UPDATE frozen SET text = '21' WHERE key = 'search.seed'")

    with pytest.raises(UserInputError, match="nothing of the store can be kept"):
        cut_back(path)
    assert not list(path.parent.glob("*damaged*"))


def test_a_store_in_use_is_not_cut_back(path):
    edit(path, "UPDATE candidate SET generation = 9 WHERE number = 35")

    with Store(path), pytest.raises(UserInputError, match="another run is using this study"):
        cut_back(path)


def test_the_command_changes_nothing_until_it_is_told_to(path, levelgain):
    folder = path.parent
    assert levelgain("repair", folder)[1].startswith(f"{path}: nothing is damaged; 40 candidates")
    edit(path, "UPDATE candidate SET generation = 9 WHERE number = 35")
    before = path.read_bytes()

    code, said, _ = levelgain("repair", folder)
    assert code == 0
    assert path.read_bytes() == before
    assert "32 candidates and 4 re-evaluations are whole. A repair drops 8 candidates" in said
    assert f"levelgain repair {folder} --apply" in said
    assert "kept as" in levelgain("repair", folder, "--apply")[1]
    assert examine(path).fault == ""

    code, _, said = levelgain("repair", folder / "nowhere")
    assert code == 2
    assert said.count("\n") == 1
