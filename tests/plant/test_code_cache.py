"""Machine code on disk is run only as it was written; all else is compiled anew."""

import logging
import os
import time

import numba
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant import code_cache
from plant.code_cache import CodeCache, read_checked, write_checked


def doubled(x):
    return 2.0 * x


def dispatcher(folder):
    """Return the function as a new process would find it, with nothing compiled yet."""
    compiled = numba.njit(doubled)
    compiled._cache = CodeCache(doubled, folder)
    return compiled


def call(folder):
    """Call the function with two signatures; return how many came from the disk."""
    compiled = dispatcher(folder)
    assert (compiled(4.0), compiled(3)) == (8.0, 6.0)
    return sum(compiled.stats.cache_hits.values())


@pytest.fixture
def said(caplog, monkeypatch):
    """Give what a process says, as messages of a process that has said nothing yet."""
    monkeypatch.setattr(code_cache, "_said", set())
    caplog.set_level(logging.WARNING, logger="levelgain")
    return lambda: [record.getMessage() for record in caplog.records]


@pytest.fixture
def kept(tmp_path, said):
    """Give the file in which the function is kept."""
    assert call(tmp_path / "code") == 0
    [path] = (tmp_path / "code").iterdir()
    return path


def test_what_one_process_compiles_the_next_one_loads(kept, said):
    assert call(kept.parent) == 2
    assert said() == []


def truncated(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def emptied(path):
    path.write_bytes(b"")


def zeroed(path):
    path.write_bytes(bytes(path.stat().st_size))


def half_zeroed(path):
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2] + bytes(len(whole) - len(whole) // 2))


def flipped(path):
    """Change one bit of the machine code, after the mark with which an object file begins."""
    content = bytearray(path.read_bytes())
    content[content.index(b"\x7fELF") + 1000] ^= 1
    path.write_bytes(content)


def lengthened(path):
    path.write_bytes(path.read_bytes() + b"\0")


def a_folder_instead(path):
    path.unlink()
    (path / "inner").mkdir(parents=True)


def unreadable(path):
    """Let the system refuse to open it, to the superuser as well."""
    path.unlink()
    path.symlink_to(path)


@pytest.mark.parametrize(
    "damage",
    [truncated, emptied, zeroed, half_zeroed, flipped, lengthened, a_folder_instead, unreadable],
)
def test_damaged_code_is_never_run_and_is_mended(kept, said, damage):
    damage(kept)

    assert call(kept.parent) == 0
    [line] = said()
    assert line.startswith(f"{kept}: compiled code ")
    assert "\n" not in line
    assert call(kept.parent) == 2
    assert len(said()) == 1


def test_many_damaged_files_are_said_in_one_line(tmp_path, said):
    paths = [tmp_path / name for name in ("one", "two", "three")]
    for path in paths:
        path.write_bytes(b"half of it")

    assert [read_checked(path) for path in paths] == [None] * 3
    assert len(said()) == 1
    assert not any(path.exists() for path in paths)


def test_without_a_folder_to_write_each_process_compiles_and_says_so(tmp_path, said):
    (tmp_path / "file").write_text("where a folder is needed")

    assert [call(tmp_path / "file" / "code") for _ in range(2)] == [0, 0]
    [line] = said()
    assert "can not be kept" in line
    assert "XDG_CACHE_HOME" in line
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_full_disk_leaves_the_old_file_and_nothing_half_written(kept, said, monkeypatch):
    before = kept.read_bytes()

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_checked(kept, b"new")

    assert kept.read_bytes() == before
    assert list(kept.parent.iterdir()) == [kept]


def test_a_changed_source_makes_what_is_kept_old(kept, said, monkeypatch):
    monkeypatch.setattr(code_cache, "_file_digest", {doubled.__code__.co_filename: b"another"}.get)

    assert call(kept.parent) == 0
    assert said() == []


def test_a_flushed_function_is_compiled_again(kept, said):
    dispatcher(kept.parent)._cache.flush()

    assert call(kept.parent) == 0
    assert said() == []


DAY_S = 24 * 3600.0


def age(folder, days):
    """Let a folder be as if it was last used so long ago."""
    then = time.time() - days * DAY_S
    os.utime(folder, (then, then))


def new_process():
    code_cache._mark_used.cache_clear()
    code_cache._sweep_beside.cache_clear()


@pytest.fixture
def others(tmp_path, said):
    """Give folders beside the one in use, by how many days ago they were used."""
    folders = {days: tmp_path / f"used_{days}_days_ago" for days in (0, 59, 61, 300)}
    for folder in folders.values():
        call(folder)
    for days, folder in folders.items():
        age(folder, days)
    new_process()
    return folders


def test_who_compiles_removes_code_that_nobody_has_used_for_two_months(tmp_path, others):
    assert call(tmp_path / "code") == 0

    assert {days for days, folder in others.items() if folder.exists()} == {0, 59}
    assert call(others[0]) == call(others[59]) == 2


def test_who_loads_code_keeps_it_in_use_and_removes_nothing(tmp_path, others):
    assert call(others[61]) == 2
    assert others[300].exists()

    new_process()
    call(tmp_path / "code")
    assert others[61].exists()
    assert not others[300].exists()


def test_only_folders_of_code_are_removed(tmp_path, said):
    kept_texts, file, empty = tmp_path / "hard_rides", tmp_path / "notes.code", tmp_path / "empty"
    kept_texts.mkdir()
    empty.mkdir()
    (kept_texts / "found.json").write_text("{}")
    file.write_text("a file")
    for path in (kept_texts, file, empty):
        age(path, 300)
    new_process()

    call(tmp_path / "code")

    assert (kept_texts / "found.json").exists()
    assert file.exists()
    assert empty.exists()


def test_what_may_not_be_removed_stays_without_a_word(tmp_path, others, said, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(code_cache.shutil, "rmtree", refuse)

    assert call(tmp_path / "code") == 0
    assert said() == []
    assert others[300].exists()


def test_what_may_not_be_removed_keeps_no_other_code(tmp_path, others, monkeypatch):
    refused, remove = [], code_cache.shutil.rmtree

    def refuse_the_first(path):
        if not refused:
            refused.append(path)
            raise PermissionError(13, "Permission denied", str(path))
        remove(path)

    monkeypatch.setattr(code_cache.shutil, "rmtree", refuse_the_first)
    call(tmp_path / "code")

    assert [folder for folder in (others[61], others[300]) if folder.exists()] == refused


def test_code_removed_under_a_process_is_compiled_again(tmp_path, others):
    kept_open = dispatcher(others[300])
    assert kept_open(4.0) == 8.0
    age(others[300], 300)
    new_process()
    call(tmp_path / "code")
    assert not others[300].exists()

    assert (kept_open(4.0), kept_open(3)) == (8.0, 6.0)
    assert sum(kept_open.stats.cache_hits.values()) == 1
    assert others[300].exists()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("checked")


@settings(max_examples=30)
@given(st.binary(max_size=200), st.data())
def test_no_changed_bit_and_no_cut_passes_for_what_was_written(folder, content, data):
    path = folder / "file"
    write_checked(path, content)
    assert read_checked(path) == content
    whole = path.read_bytes()

    place = data.draw(st.integers(0, len(whole) - 1))
    bit = data.draw(st.integers(0, 7))
    flipped_bit = whole[:place] + bytes([whole[place] ^ (1 << bit)]) + whole[place + 1 :]
    for changed in (flipped_bit, whole[:place]):
        path.write_bytes(changed)
        assert read_checked(path) is None
