import multiprocessing
import os
import signal
import subprocess
import time

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.execution.store import read_table
from tests.optimizer.commands import finish, start
from tests.optimizer.interruptible import command
from tests.optimizer.small_study import STEEP, write_small_study

# A server that has imported everything forks the processes to be killed within milliseconds.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["tests.optimizer.interruptible"])


def candidates_stored(folder):
    """Return the number of stored candidates; none while the store is being made."""
    try:
        return len(read_table(folder / "store.sqlite").generations)
    except UserInputError:
        return 0


def wait_for_candidates(folder, n_candidates, running):
    while running():
        if candidates_stored(folder) >= n_candidates:
            return
        time.sleep(0.02)


def test_ctrl_c_ends_cleanly_with_results_and_a_hint(tmp_path):
    folder = write_small_study(tmp_path / "study", ("candidates = 36", "candidates = 12000"))
    process = start("run", folder)
    wait_for_candidates(folder, 12, lambda: process.poll() is None)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate()

    assert process.returncode == 130
    assert f"levelgain resume {folder}" in out
    assert "Traceback" not in err
    assert (folder / "results" / "candidates.csv").is_file()
    assert candidates_stored(folder) % 12 == 0


@pytest.mark.parametrize(
    ("n_kills", "n_candidates"),
    [
        pytest.param(3, 36, marks=pytest.mark.slow),
        pytest.param(8, 96, marks=pytest.mark.proof),
    ],
)
def test_killed_studies_end_with_the_table_of_an_uninterrupted_one(
    levelgain, tmp_path, n_kills, n_candidates
):
    changes = (*STEEP, ("candidates = 36", f"candidates = {n_candidates}"))
    whole, killed = (write_small_study(tmp_path / name, *changes) for name in ("whole", "killed"))
    moments = np.random.default_rng(5)
    assert levelgain("run", whole, "--jobs", "1")[0] == 0

    # The last moments lie in the re-evaluation; some find the study finished already.
    verb, kills = "run", 0
    for kill in range(n_kills):
        process = PROCESSES.Process(target=command, args=(verb, killed, "--jobs", 2))
        process.start()
        stored = 12 + (n_candidates - 12) * kill // (n_kills - 1)
        wait_for_candidates(killed, stored, process.is_alive)
        process.join(moments.uniform(0.0, 0.3))
        process.kill()
        process.join()
        kills += process.exitcode == -signal.SIGKILL
        verb = "resume"
    assert kills >= n_kills - 2
    resumed = finish("resume", killed)
    assert resumed.returncode == 0
    assert "The run before" not in levelgain("resume", killed)[1]

    for name in ("candidates.csv", "front.csv"):
        expected = (whole / "results" / name).read_bytes()
        assert (killed / "results" / name).read_bytes() == expected


def fill_up(path):
    handle = os.open(path, os.O_CREAT | os.O_WRONLY)
    try:
        while True:
            os.write(handle, b"x" * 4096)
    finally:
        os.close(handle)


@pytest.fixture
def small_disk(tmp_path):
    """Return the path of a disk of half a megabyte; mounting it needs root, as CI has."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(disk)],
        check=False,
        capture_output=True,
    )
    if mounted.returncode != 0:
        pytest.skip("mounting a small disk needs root")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_full_disk_is_one_line_and_loses_nothing(small_disk, tmp_path):
    study = write_small_study(small_disk / "study", ("candidates = 36", "candidates = 24"))
    assert finish("run", study).returncode in (0, 2)
    facts = candidates_stored(study)
    assert facts > 0
    with pytest.raises(OSError, match="No space left"):
        fill_up(small_disk / "filler")

    refused = finish("resume", study, "--candidates", "2400")

    assert refused.returncode == 2
    assert "disk is full" in refused.stderr
    assert refused.stderr.count("\n") == 1
    assert candidates_stored(study) >= facts


def test_a_read_only_folder_is_one_line(small_disk):
    study = write_small_study(small_disk / "study")
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)

    refused = finish("run", study)

    assert refused.returncode == 2
    assert refused.stderr.count("\n") == 1
    assert "Traceback" not in refused.stderr
