"""A store that is killed, starved or flipped says so in one line, or goes on to the same bytes."""

import json
import shutil
import subprocess
import sys
from collections import Counter

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.execution.store import read_table
from optimizer.execution.store_repair import cut_back, examine
from tests.optimizer import attacked


def test_a_search_that_is_killed_or_has_no_disk_left_goes_on_to_the_same_bytes(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "tests.optimizer.attacked", tmp_path, "71", "36"],
        check=True,
        capture_output=True,
        text=True,
    )

    attacks = [json.loads(line) for line in done.stdout.splitlines()]
    ends = Counter(end.partition(":")[0] for attack in attacks for end in attack["ends"])
    refusals = [end for attack in attacks for end in attack["ends"] if end.startswith("refused")]
    assert [attack for attack in attacks if not attack["same"]] == []
    assert set(ends) <= {"signal 9", "signal 25", "refused", "finished"}
    assert min(ends[name] for name in ("signal 9", "signal 25", "refused")) > 3
    assert not any("\n" in said for said in refusals)
    assert all("every finished generation is kept" in said for said in refusals)


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    """Return the bytes of a store midway and finished, and the content of the finished one."""
    path = tmp_path_factory.mktemp("whole") / "store.sqlite"
    found = []
    for n_candidates in (16, attacked.N_CANDIDATES):
        attacked.search(path, n_candidates=n_candidates)
        found.append(path.read_bytes())
    return found, attacked.content(path)


def flipped(whole, rng):
    """Return bytes with one bit flipped, not where a page has nothing but zeros."""
    damaged = bytearray(whole)
    filled = np.flatnonzero(np.frombuffer(whole, np.uint8))
    damaged[rng.choice(filled)] ^= 1 << rng.integers(8)
    return damaged


def test_a_flipped_bit_is_said_in_one_line_or_changes_nothing(tmp_path, stores):
    rng = np.random.default_rng(3)
    path = tmp_path / "store.sqlite"
    told = []
    for number in range(90):
        path.write_bytes(flipped(stores[0][number % 2], rng))
        try:
            read_table(path)
            attacked.search(path)
        except UserInputError as error:
            told.append(str(error))
        else:
            assert attacked.content(path) == stores[1]

    assert len(told) > 45
    assert not any("\n" in said for said in told)


def test_what_a_flipped_bit_spoiled_is_repaired_and_goes_on_to_the_same_bytes(tmp_path, stores):
    rng = np.random.default_rng(8)
    path = tmp_path / "store.sqlite"
    told, n_repaired = [], 0
    for _ in range(40):
        path.write_bytes(flipped(stores[0][1], rng))
        try:
            fault = examine(path).fault
            if fault:
                cut_back(path)
        except UserInputError as error:
            told.append(str(error))
            continue
        n_repaired += bool(fault)
        attacked.search(path)
        assert attacked.content(path) == stores[1]

    assert n_repaired > 15
    assert not any("\n" in said for said in told)


def test_the_commands_say_what_is_damaged_repair_it_and_end_with_the_same_tables(
    tmp_path, finished, levelgain
):
    folder = tmp_path / "study"
    shutil.copytree(finished, folder)
    path = folder / "store.sqlite"
    damaged = bytearray(path.read_bytes())
    damaged[damaged.index(read_table(path).reevaluation.evaluation.objectives[-1].tobytes())] ^= 1
    path.write_bytes(damaged)
    tables = ("candidates.csv", "front.csv")
    before = [(finished / "results" / name).read_bytes() for name in tables]

    for verb in ("front", "resume"):
        code, _, said = levelgain(verb, folder)
        assert code == 2
        assert said.count("\n") == 1
        assert f"`levelgain repair {folder}`" in said
    assert "A repair drops 0 candidates and 1 re-evaluations" in levelgain("repair", folder)[1]
    assert levelgain("repair", folder, "--apply")[0] == 0
    assert levelgain("resume", folder)[0] == 0

    assert [(folder / "results" / name).read_bytes() for name in tables] == before
