import errno
import os
import shutil
import subprocess

import pytest

from optimizer.base.atomic_files import make_folder, refuse_existing, write_whole
from optimizer.base.errors import UserInputError


def test_a_file_is_written_whole_and_its_folder_is_made(tmp_path):
    path = tmp_path / "a" / "b.txt"

    write_whole(path, "pitch 1.5°\r\n")

    assert path.read_bytes() == "pitch 1.5°\r\n".encode()
    assert [entry.name for entry in path.parent.iterdir()] == ["b.txt"]


def test_a_new_file_has_the_permissions_of_any_new_file(tmp_path):
    (tmp_path / "usual").touch()

    write_whole(tmp_path / "ours", b"1")

    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_a_full_disk_keeps_the_old_file_and_leaves_nothing_behind(tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    path.write_text("old")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)

    with pytest.raises(UserInputError, match=r"table\.csv: the disk is full; free some space"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["table.csv"]


@pytest.fixture
def small_disk(tmp_path):
    """A real disk of 64 KiB."""
    mount, unmount = shutil.which("mount"), shutil.which("umount")
    disk = tmp_path / "disk"
    disk.mkdir()
    if os.name != "posix" or os.geteuid() != 0 or not (mount and unmount):
        pytest.skip("only the superuser can mount a small disk")
    command = [mount, "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)]
    if subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip("this system does not let a small disk be mounted")
    yield disk
    subprocess.run([unmount, str(disk)], check=True)


def test_a_disk_that_really_is_full_is_one_line(small_disk):
    path = small_disk / "table.csv"
    write_whole(path, "old")

    with pytest.raises(UserInputError, match="the disk is full"):
        write_whole(path, b"0" * 200_000)
    assert path.read_text() == "old"
    assert [entry.name for entry in small_disk.iterdir()] == ["table.csv"]


def test_a_read_only_folder_is_one_line(tmp_path, monkeypatch):
    def refused(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr("optimizer.base.unfinished.tempfile.mkstemp", refused)

    with pytest.raises(UserInputError, match="can not be written; allow writing"):
        write_whole(tmp_path / "table.csv", "new")


def test_a_file_in_the_place_of_a_folder_is_one_line(tmp_path):
    (tmp_path / "results").touch()

    with pytest.raises(UserInputError, match="a file stands where a folder is needed"):
        make_folder(tmp_path / "results")
    with pytest.raises(UserInputError, match="a file stands where a folder is needed"):
        write_whole(tmp_path / "results" / "figures" / "front.png", b"")


def test_an_existing_file_is_refused_with_what_to_do(tmp_path):
    (tmp_path / "second").touch()

    with pytest.raises(UserInputError, match="second: is there already; use --force"):
        refuse_existing([tmp_path / "first", tmp_path / "second"], advice="use --force")
