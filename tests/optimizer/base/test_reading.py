"""A file that can not be read is refused in one line that names it, and never waited for."""

import os
from pathlib import Path

import pytest

from optimizer.base.errors import UserInputError
from optimizer.base.reading import MOST_SETTINGS_BYTES, read_text
from optimizer.base.toml_io import parse_toml
from optimizer.study.log_data.reader import head_text

READERS = (read_text, head_text)


@pytest.mark.parametrize("read", READERS)
def test_a_missing_file_is_named_with_what_to_do(tmp_path, read):
    with pytest.raises(UserInputError, match=r"none\.csv: there is no such file; check the path"):
        read(tmp_path / "none.csv")


@pytest.mark.parametrize("read", READERS)
def test_a_folder_in_place_of_a_file_is_refused(tmp_path, read):
    with pytest.raises(UserInputError, match=r"can not be read: it is a folder; check its kind"):
        read(tmp_path)


def test_a_text_in_another_encoding_is_refused_with_the_place(tmp_path):
    path = tmp_path / "study.toml"
    path.write_bytes(b"title = 'caf\xe9'")

    with pytest.raises(UserInputError, match="byte 12 is not; save it as UTF-8"):
        read_text(path)


@pytest.mark.parametrize("read", READERS)
def test_a_pipe_that_nobody_writes_to_is_refused_at_once(tmp_path, read):
    path = tmp_path / "pipe"
    os.mkfifo(path)

    with pytest.raises(UserInputError, match="can not be read: it is a named pipe"):
        read(path)


@pytest.mark.parametrize("read", READERS)
def test_a_device_without_an_end_is_refused(read):
    with pytest.raises(UserInputError, match="can not be read: it is a device"):
        read(Path("/dev/zero"))


def test_a_file_of_a_gigabyte_is_refused_by_its_size(tmp_path):
    path = tmp_path / "study.toml"
    with path.open("wb") as file:
        file.truncate(1_000_000_000)  # sparse: it takes no room on the disk

    with pytest.raises(UserInputError, match=r"no larger than 1 MB, got 1000\.0 MB"):
        read_text(path)
    assert MOST_SETTINGS_BYTES == 1_000_000


def test_a_name_that_no_system_takes_is_one_line():
    with pytest.raises(UserInputError, match=r"^a\\x00b: a file's name can not hold NUL"):
        read_text(Path("a\0b"))


def test_a_byte_order_mark_and_ends_of_lines_of_other_systems_are_read(tmp_path):
    path = tmp_path / "study.toml"
    path.write_bytes(b"\xef\xbb\xbftitle = 'x'\r\nseed = 1\rn = 2\n")

    assert read_text(path) == "title = 'x'\nseed = 1\nn = 2\n"


# A time or memory that grows with the square of the file's size, or the end of Python's stack,
# unless it is refused before it is read.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a" + ".a" * 400_000 + " = 1", "nested 40 deep"),
        ('a = { "b"' + '."b"' * 200_000 + " = 1 }", "nested 40 deep"),
        ("[a" + ".a" * 1000 + "]", "nested 40 deep"),
        ("a = " + "[" * 1000 + "]" * 1000, "nested 40 deep"),
        ("a = " + "{a=" * 300 + "1" + "}" * 300, "nested 40 deep"),
        ("a = " + "[" * 45 + "]" * 45, "nested 40 deep"),
        ("b.a = " + "9" * 30, "b.a: a whole number must fit into 64 bits, got one of 100 bits"),
        ("a = [0x" + "f" * 900_000 + "]", "a: a whole number must fit into 64 bits"),
        ("a = " + "9" * 900_000, "too many digits"),
        ("a = 1\na = 2", "Cannot overwrite a value"),
    ],
    ids=range(10),
)
@pytest.mark.timeout(60)
def test_a_toml_text_made_to_exhaust_its_reader_is_refused(text, said):
    with pytest.raises(UserInputError, match=said):
        parse_toml(text, path=Path("study.toml"))
