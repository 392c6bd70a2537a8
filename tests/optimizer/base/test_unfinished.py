"""What killed programs left half-written is swept, and nothing else."""

import os
import subprocess
import sys
import tempfile

import pytest

from optimizer.base.atomic_files import write_whole
from optimizer.base.unfinished import passing_folder, sweep, unfinished_file, unfinished_folder

# A program that says when it has something half-written, and waits to be killed.
WRITER = """
import pathlib, sys, time
from optimizer.base.unfinished import unfinished_file, unfinished_folder
folder = pathlib.Path(sys.argv[1])
with unfinished_file(folder / "table.csv"), unfinished_folder(folder / "new") as new:
    (new / "study.toml").write_text("x")
    print("ready", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def writer(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, tmp_path], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "ready\n"
    yield process
    process.kill()
    process.communicate()


def test_what_a_killed_program_left_is_swept_at_the_next_writing(writer, tmp_path):
    assert len(list(tmp_path.iterdir())) == 2
    writer.kill()
    writer.wait()

    write_whole(tmp_path / "other.csv", "1")

    assert [entry.name for entry in tmp_path.iterdir()] == ["other.csv"]


def test_what_a_living_program_writes_stays(writer, tmp_path):
    before = sorted(tmp_path.iterdir())

    sweep(tmp_path)

    assert sorted(tmp_path.iterdir()) == before


def test_what_this_program_writes_stays(tmp_path):
    with unfinished_file(tmp_path / "a") as (handle, path), unfinished_folder(tmp_path / "b") as b:
        os.close(handle)
        sweep(tmp_path)

        assert path.exists()
        assert b.exists()
    assert list(tmp_path.iterdir()) == []


def test_what_a_killed_program_left_in_the_systems_folder_is_swept(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    left = tmp_path / ".laid.q.levelgain-unfinished"
    left.mkdir()
    (left / "rides").write_text("x")

    with passing_folder("laid") as folder:
        assert [*tmp_path.iterdir()] == [folder]
    assert [*tmp_path.iterdir()] == []


def test_files_of_others_and_what_a_link_leads_to_stay(tmp_path):
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "notes").write_text("mine")
    (tmp_path / ".table.csv.x7").write_text("another program's")
    (tmp_path / ".a.levelgain-unfinished").symlink_to(tmp_path / "folder")
    os.mkfifo(tmp_path / ".b.levelgain-unfinished")
    before = sorted(tmp_path.rglob("*"))

    sweep(tmp_path, below=True)

    assert sorted(tmp_path.rglob("*")) == before


def test_the_folders_below_are_swept_when_asked_for(tmp_path):
    (tmp_path / "results").mkdir()
    left = tmp_path / "results" / ".front.csv.q.levelgain-unfinished"
    left.write_text("half")

    sweep(tmp_path)
    assert left.exists()
    sweep(tmp_path, below=True)
    assert not left.exists()
