import os
import resource
import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from optimizer.base.errors import UserInputError
from optimizer.execution.store import Store, read_table, started_with
from optimizer.execution.store_format import rows_of_generation
from optimizer.search.evaluation import Evaluation

POPULATION = 4


@pytest.fixture
def path(tmp_path):
    return tmp_path / "candidates.sqlite"


def _generation(seed, *, n_rides=3):
    rng = np.random.default_rng(seed)
    values = rng.normal(size=(POPULATION, 5))
    return values, Evaluation(
        objectives=rng.normal(size=(POPULATION, 3)),
        constraints=rng.normal(size=(POPULATION, 2)),
        rides=rng.normal(size=(POPULATION, n_rides, 6)),
    )


def _filled(path, n_generations=3, **options):
    with Store(path) as store:
        store.freeze({"study": "one = 1\n"})
        for generation in range(n_generations):
            store.append(generation, *_generation(generation, **options))


def _edit(path, *statements):
    with closing(sqlite3.connect(path)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def _refusal(call, *arguments):
    with pytest.raises(UserInputError) as refusal:
        call(*arguments)
    message = str(refusal.value)
    assert "\n" not in message
    return message


def test_what_was_stored_is_read_back_bit_by_bit(path):
    _filled(path)

    table = read_table(path)

    for generation in range(3):
        values, evaluation = _generation(generation)
        rows = slice(generation * POPULATION, (generation + 1) * POPULATION)
        assert table.history.values[rows].tobytes() == values.tobytes()
        assert table.history.objectives[rows].tobytes() == evaluation.objectives.tobytes()
        assert table.history.constraints[rows].tobytes() == evaluation.constraints.tobytes()
        assert table.rides[rows].tobytes() == evaluation.rides.tobytes()
    assert table.generations.tolist() == [0] * 4 + [1] * 4 + [2] * 4
    assert table.frozen == {"study": "one = 1\n"}


@given(arrays(np.float64, (2, 3), elements=st.floats(width=64)))
def test_any_number_survives_as_little_endian_float64(values):
    nothing = np.empty((2, 0))
    evaluation = Evaluation(objectives=values, constraints=nothing, rides=np.empty((2, 0, 0)))

    rows = list(rows_of_generation(0, 10, values, evaluation))

    assert [row[0] for row in rows] == [10, 11]
    assert b"".join(row[2] for row in rows) == values.astype("<f8").tobytes()


@pytest.mark.parametrize("n_rides", [0, 1])
def test_few_rides_keep_their_shape(path, n_rides):
    _filled(path, n_rides=n_rides)

    assert read_table(path).rides.shape == (12, n_rides, 6 if n_rides else 0)


def test_a_new_store_is_empty_and_says_so(path):
    with Store(path) as store:
        assert store.n_candidates == 0
        assert len(store.history(population=POPULATION)) == 0

    assert len(read_table(path).history) == 0


def test_a_generation_is_stored_whole_or_not_at_all(path):
    _filled(path, 1)
    values, evaluation = _generation(1)
    short = Evaluation(
        objectives=evaluation.objectives[:2],
        constraints=evaluation.constraints,
        rides=evaluation.rides,
    )

    with Store(path) as store, pytest.raises(IndexError):
        store.append(1, values, short)

    assert len(read_table(path).history) == POPULATION


def test_others_read_while_a_run_writes(path):
    with Store(path) as store:
        store.append(0, *_generation(0))

        assert len(read_table(path).history) == POPULATION


def test_a_second_run_is_refused_and_the_first_goes_on(path):
    with Store(path) as store:
        message = _refusal(Store, path)
        store.append(0, *_generation(0))

    assert "another run is using this study" in message
    assert len(read_table(path).history) == POPULATION


def test_a_lock_file_left_behind_does_not_keep_anyone_out(path):
    path.with_name(path.name + ".lock").touch()

    _filled(path)


def _second_store(path):
    """Open a store that a run has open already, as where its lock file was deleted by hand."""
    path.with_name(path.name + ".lock").unlink()
    return Store(path)


def test_of_two_runs_without_a_lock_the_slower_one_stops_and_nothing_is_damaged(path):
    with Store(path) as first, _second_store(path) as second:
        for store in (first, second):
            store.freeze({"study": "one"})
            assert len(store.history(population=POPULATION)) == 0
        first.append(0, *_generation(0))

        message = _refusal(second.append, 0, *_generation(0))
        first.append(1, *_generation(1))

    assert "another run uses this study too and has stored generation 0" in message
    assert read_table(path).generations.tolist() == [0] * 4 + [1] * 4


def test_a_generation_is_not_appended_before_the_one_before_it(path):
    with Store(path) as store:
        store.append(0, *_generation(0))

        _refusal(store.append, 2, *_generation(2))

    assert read_table(path).generations.tolist() == [0] * 4


def test_of_two_runs_without_a_lock_only_one_stores_a_reevaluation(path):
    _filled(path)
    numbers = np.array([2, 5, 7, 10])
    with Store(path) as first, _second_store(path) as second:
        first.append_reevaluation(numbers, _generation(60)[1])

        message = _refusal(second.append_reevaluation, numbers, _generation(60)[1])

    assert "has stored the re-evaluation of candidate 2" in message
    assert read_table(path).reevaluation.numbers.tolist() == numbers.tolist()


def test_a_run_stops_where_a_second_one_has_frozen_other_inputs(path):
    with Store(path) as first, _second_store(path) as second:
        first.freeze({"study": "one"})
        second.freeze({"study": "two"})

        message = _refusal(first.append, 0, *_generation(0))
        second.append(0, *_generation(0))

    assert "another run uses this study too and has stored other inputs" in message
    assert read_table(path).frozen == {"study": "two"}


@pytest.mark.parametrize("replaced", [False, True])
def test_a_store_that_is_deleted_during_a_run_is_missed_at_the_next_generation(path, replaced):
    store = Store(path)
    store.append(0, *_generation(0))
    path.rename(path.with_name("moved.sqlite"))
    if replaced:
        path.touch()

    assert "deleted, moved or replaced" in _refusal(store.append, 1, *_generation(1))
    store.close()


def test_a_store_that_is_deleted_after_the_last_generation_is_missed_at_the_end(path):
    def run():
        with Store(path) as store:
            store.append(0, *_generation(0))
            path.unlink()

    assert "deleted, moved or replaced" in _refusal(run)


def test_a_closed_store_leaves_no_log_behind(path):
    _filled(path)

    assert not list(path.parent.glob("*-wal"))


def test_a_missing_folder_is_named(path):
    message = _refusal(Store, path.parent / "nowhere" / "candidates.sqlite")

    assert "nowhere: no such folder; make the study folder first" in message
    assert not (path.parent / "nowhere").exists()


@pytest.mark.parametrize("content", [b"candidates, today\n", b"plain text\n" * 500])
def test_a_file_that_is_not_sqlite_is_refused_and_kept(path, content):
    path.write_bytes(content)

    for call in (Store, read_table):
        assert f"{path}: it is not a study store" in _refusal(call, path)
    assert path.read_bytes() == content


def test_another_programs_sqlite_file_is_refused_and_kept(path):
    _edit(path, "CREATE TABLE songs (title TEXT)")
    content = path.read_bytes()

    for call in (Store, read_table):
        assert "an SQLite file of another program" in _refusal(call, path)
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("other", "advice"), [(8, "update this program"), (6, "go on with the program that wrote it")]
)
def test_another_version_is_refused_with_both_versions_and_what_to_do(path, other, advice):
    _filled(path)
    _edit(path, f"PRAGMA user_version = {other}")

    for call in (Store, read_table):
        said = _refusal(call, path)
        assert f"a study store of version {other}, this program reads version 7" in said
        assert advice in said


def test_a_folder_in_place_of_the_file_is_refused(path):
    path.mkdir()

    assert "it can not be opened" in _refusal(Store, path)


def test_a_missing_store_can_not_be_read(path):
    assert "no study store here; run the study first" in _refusal(read_table, path)
    assert not path.exists()


def test_an_empty_file_is_a_store_yet_to_be_made(path):
    path.touch()

    assert "the study store is empty" in _refusal(read_table, path)
    _filled(path)
    assert len(read_table(path).history) == 12


def test_damaged_pages_are_refused_with_advice(path):
    _filled(path, 40)
    content = bytearray(path.read_bytes())
    content[4096 * 3 : 4096 * 8] = os.urandom(4096 * 5)
    path.write_bytes(content)

    for call in (Store, read_table):
        message = _refusal(call, path)
        assert "the study store is damaged" in message
        assert "restore it from a backup" in message


def test_a_truncated_store_is_refused(path):
    _filled(path, 40)
    os.truncate(path, path.stat().st_size // 2)

    for call in (Store, read_table):
        assert "the study store is damaged" in _refusal(call, path)


def test_a_single_flipped_bit_of_a_number_is_found(path):
    _filled(path)
    content = bytearray(path.read_bytes())
    values, _ = _generation(1)
    place = content.index(values[2].astype("<f8").tobytes())
    content[place + 3] ^= 1
    path.write_bytes(content)

    assert "candidate 6 does not match its checksum" in _refusal(read_table, path)
    with Store(path) as store:
        assert "candidate 6 does not match" in _refusal(lambda: store.history(population=4))


def test_a_missing_row_is_found(path):
    _filled(path)
    _edit(path, "DELETE FROM candidate WHERE number = 5")

    assert "candidate 5 is missing" in _refusal(read_table, path)


def test_rows_that_are_not_whole_generations_are_found(path):
    _filled(path)
    _edit(path, "DELETE FROM candidate WHERE number = 11")

    with Store(path) as store:
        message = _refusal(lambda: store.history(population=POPULATION))
    assert "its rows are not generations of 4" in message


def test_a_log_torn_at_any_place_leaves_whole_generations(path, tmp_path):
    """What power loss in the middle of a write leaves: the log ends somewhere."""
    copy = tmp_path / "torn" / path.name
    copy.parent.mkdir()
    log, torn_log = (place.with_name(place.name + "-wal") for place in (path, copy))
    rng = np.random.default_rng(14)
    counts = set()
    with Store(path) as store:
        for generation in range(6):
            store.append(generation, *_generation(generation))
        reference = read_table(path).history.values
        for size in rng.integers(0, log.stat().st_size, size=25):
            shutil.copy(path, copy)
            shutil.copy(log, torn_log)
            os.truncate(torn_log, size)
            copy.with_name(copy.name + "-shm").unlink(missing_ok=True)
            if _n_schema(copy):
                with Store(copy) as torn:
                    kept = torn.history(population=POPULATION).values
                counts.add(len(kept))
                assert kept.tobytes() == reference[: len(kept)].tobytes()

    assert len(counts) > 3
    assert all(count % POPULATION == 0 for count in counts)


def test_a_log_torn_in_a_reevaluation_leaves_whole_batches_of_it(path, tmp_path):
    _filled(path, 6)
    copy = tmp_path / "torn" / path.name
    copy.parent.mkdir()
    log, torn_log = (place.with_name(place.name + "-wal") for place in (path, copy))
    rng = np.random.default_rng(17)
    counts = set()
    with Store(path) as store:
        for batch in range(6):
            numbers = np.arange(batch * POPULATION, (batch + 1) * POPULATION)
            store.append_reevaluation(numbers, _generation(50 + batch)[1])
        reference = store.reevaluation().evaluation.objectives
        for size in rng.integers(0, log.stat().st_size, size=25):
            shutil.copy(path, copy)
            shutil.copy(log, torn_log)
            os.truncate(torn_log, size)
            copy.with_name(copy.name + "-shm").unlink(missing_ok=True)
            with Store(copy) as torn:
                kept = torn.reevaluation()
                assert len(torn.history(population=POPULATION)) == 6 * POPULATION
            counts.add(len(kept.numbers))
            assert kept.numbers.tolist() == list(range(len(kept.numbers)))
            assert kept.evaluation.objectives.tobytes() == reference[: len(kept.numbers)].tobytes()

    assert len(counts) > 3
    assert all(count % POPULATION == 0 for count in counts)


@pytest.mark.parametrize(
    "statements",
    [
        # Rows under each other's numbers, whose numbers are whole all the same.
        [
            "UPDATE candidate SET number = -1 WHERE number = 5",
            "UPDATE candidate SET number = 5 WHERE number = 6",
            "UPDATE candidate SET number = 6 WHERE number = -1",
        ],
        ["UPDATE candidate SET generation = 2 WHERE number = 5"],
        ["UPDATE candidate SET n_rides = 6 WHERE number = 5"],
        ["UPDATE candidate SET n_rides = 9"],  # all alike
        ["UPDATE candidate SET rides = 'none' WHERE number = 5"],
        ["UPDATE candidate SET n_rides = 'three' WHERE number = 5"],
        ["UPDATE candidate SET crc32 = 'none' WHERE number = 5"],
    ],
)
def test_what_is_whole_but_out_of_its_place_or_of_another_type_is_found(path, statements):
    _filled(path)
    _edit(path, *statements)

    message = _refusal(read_table, path)

    assert "the study store is damaged (candidate" in message
    assert "does not match its checksum" in message


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE frozen SET text = 'one = 3' WHERE key = 'study'",
        "UPDATE frozen SET key = 'studx' WHERE key = 'study'",
        "UPDATE frozen SET text = CAST(x'ff' AS TEXT) WHERE key = 'study'",
        "DELETE FROM frozen WHERE key = 'seed'",
    ],
)
def test_a_flipped_or_missing_input_is_found_and_not_taken_for_another_study(path, statement):
    inputs = {"study": "one = 1", "seed": "4"}
    with Store(path) as store:
        store.freeze(inputs)
        store.append(0, *_generation(0))
    _edit(path, statement)

    assert "the study store is damaged" in _refusal(read_table, path)
    assert "the study store is damaged" in _refusal(started_with, path, "study")
    with Store(path) as store:
        assert "the study store is damaged" in _refusal(store.freeze, inputs)


def _reevaluated(path):
    _filled(path)
    with Store(path) as store:
        store.append_reevaluation(np.array([2, 5, 7, 10]), _generation(60)[1])


def test_a_flipped_bit_in_a_reevaluation_is_found(path):
    _reevaluated(path)
    content = bytearray(path.read_bytes())
    place = content.index(_generation(60)[1].objectives[1].astype("<f8").tobytes())
    content[place + 5] ^= 4
    path.write_bytes(content)

    message = _refusal(read_table, path)
    assert "the re-evaluation of candidate 5 does not match its checksum" in message
    assert "restore it from a backup" in message
    with Store(path) as store:
        assert "candidate 5 does not match its checksum" in _refusal(store.reevaluation)


def test_a_reevaluation_of_another_shape_is_found(path):
    _reevaluated(path)
    _edit(path, "UPDATE reevaluation SET n_rides = 2 WHERE number = 7")

    assert "the re-evaluation of candidate 7 does not match" in _refusal(read_table, path)


@pytest.mark.parametrize(
    ("statement", "expected"),
    [
        ("UPDATE reevaluation SET number = 8 WHERE number = 7", "of candidate 8 does not match"),
        ("UPDATE reevaluation SET number = 70 WHERE number = 7", "of candidate 70 does not match"),
    ],
)
def test_a_reevaluation_under_another_number_is_found(path, statement, expected):
    _reevaluated(path)
    _edit(path, statement)

    assert expected in _refusal(read_table, path)


def test_a_reevaluation_of_a_candidate_that_is_gone_is_found(path):
    _reevaluated(path)
    _edit(path, "DELETE FROM candidate WHERE number >= 8")

    assert "re-evaluation of candidate 10 is of no candidate" in _refusal(read_table, path)


def _n_schema(path):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]


def test_a_full_disk_keeps_what_was_stored_and_lets_the_study_go_on(path):
    with Store(path) as store:
        store.append(0, *_generation(0))
        n_pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
        # SQLite then answers as it does when the disk gives no more room.
        store._connection.execute(f"PRAGMA max_page_count = {n_pages}")

        message = _refusal(store.append, 1, *_generation(1, n_rides=900))
        store._connection.execute("PRAGMA max_page_count = 1000000")
        assert len(store.history(population=POPULATION)) == POPULATION
        store.append(1, *_generation(1))

    assert "the disk is full; every finished generation is kept: free some space" in message
    assert len(read_table(path).history) == 2 * POPULATION


def test_a_disk_that_takes_no_more_bytes_keeps_what_was_stored(path):
    """The system's limit on the size of a file makes the write itself fail."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Store(path) as store:
        store.append(0, *_generation(0))
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, hard))
        try:
            message = _refusal(store.append, 1, *_generation(1, n_rides=9000))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        store.append(1, *_generation(1))

    assert "every finished generation is kept" in message
    assert len(read_table(path).history) == 2 * POPULATION


@pytest.fixture
def read_only_folder(tmp_path_factory):
    """Fill a store in a folder that may not be written, also when the tests run as root."""
    folder = tmp_path_factory.mktemp("read_only")
    _filled(folder / "candidates.sqlite")
    (folder / "candidates.sqlite.lock").unlink(missing_ok=True)
    is_root = os.geteuid() == 0
    # pytest's folders are the user's alone: the unprivileged user has to get through.
    shut = [place for place in folder.parents if not place.stat().st_mode & 0o001]
    modes = {place: place.stat().st_mode for place in shut} if is_root else {}
    for place in modes:
        place.chmod(0o755)
    (folder / "candidates.sqlite").chmod(0o444)
    folder.chmod(0o555)
    if is_root:
        os.seteuid(65534)
    yield folder
    if is_root:
        os.seteuid(0)
    folder.chmod(0o755)
    for place, mode in modes.items():
        place.chmod(mode)


def test_a_finished_store_is_read_from_a_read_only_folder(read_only_folder):
    before = sorted(read_only_folder.iterdir())

    table = read_table(read_only_folder / "candidates.sqlite")

    assert len(table.history) == 12
    assert sorted(read_only_folder.iterdir()) == before


def test_a_run_in_a_read_only_folder_is_refused(read_only_folder):
    message = _refusal(Store, read_only_folder / "candidates.sqlite")

    assert f"{read_only_folder}: can not be written" in message
    assert [file.name for file in read_only_folder.iterdir()] == ["candidates.sqlite"]


def test_inputs_are_frozen_until_there_are_candidates(path):
    with Store(path) as store:
        store.freeze({"study": "one"})
        store.freeze({"study": "two", "seed": "3"})

    assert read_table(path).frozen == {"study": "two", "seed": "3"}


def test_the_same_inputs_are_accepted_again(path):
    _filled(path)

    with Store(path) as store:
        store.freeze({"study": "one = 1\n"})


@pytest.mark.parametrize(
    ("inputs", "expected"),
    [
        (
            {"study": "one = 2\n"},
            "study differs from what this study was started with:"
            " was 'one = 1', now 'one = 2'; put it back to go on, or start a new study folder",
        ),
        ({"study": "one = 1\ntwo = 2\n"}, "was '', now 'two = 2'"),
        ({"seed": "4"}, "seed was not part of this study when it was started"),
    ],
)
def test_other_inputs_are_refused_with_the_first_difference(path, inputs, expected):
    _filled(path)

    with Store(path) as store:
        message = _refusal(store.freeze, inputs)

    assert message.startswith(f"{path}: ")
    assert expected in message
    assert read_table(path).frozen == {"study": "one = 1\n"}


def test_another_library_version_is_refused_with_the_one_to_install(path):
    with Store(path) as store:
        store.freeze({"library.numpy": "2.4.6"})
        store.append(0, *_generation(0))

        message = _refusal(store.freeze, {"library.numpy": "2.5.0"})

    assert "was '2.4.6', now '2.5.0'; install numpy 2.4.6 to go on" in message


def test_long_texts_are_shortened_about_the_difference(path):
    before = "x" * 500 + "7" + "y" * 500
    with Store(path) as store:
        store.freeze({"study": before})
        store.append(0, *_generation(0))

        message = _refusal(store.freeze, {"study": before.replace("7", "8")})

    assert "7y" in message
    assert "8y" in message
    assert len(message.removeprefix(str(path))) < 300


def test_a_store_left_open_by_a_kill_says_so_once(path):
    with Store(path) as store:
        assert not store.interrupted
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("INSERT INTO running VALUES ('2026-01-01')")  # as a kill leaves it

    with Store(path) as store:
        assert store.interrupted
    with Store(path) as store:
        assert not store.interrupted
