"""Machine code on disk is run only as it was written; all else is compiled anew."""

import logging
import os

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
