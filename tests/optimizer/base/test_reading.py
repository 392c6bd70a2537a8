"""A file that can not be read is refused in one line that names it."""

import pytest

from optimizer.base.errors import UserInputError
from optimizer.base.toml_io import read_text
from optimizer.study.log_data.reader import head_text

READERS = (read_text, head_text)


@pytest.mark.parametrize("read", READERS)
def test_a_missing_file_is_named_with_what_to_do(tmp_path, read):
    with pytest.raises(UserInputError, match=r"none\.csv: there is no such file; check the path"):
        read(tmp_path / "none.csv")


@pytest.mark.parametrize("read", READERS)
def test_a_folder_in_place_of_a_file_is_refused(tmp_path, read):
    with pytest.raises(UserInputError, match=r"can not be read: .*; check its kind"):
        read(tmp_path)


def test_a_text_in_another_encoding_is_refused_with_the_place(tmp_path):
    path = tmp_path / "study.toml"
    path.write_bytes(b"title = 'caf\xe9'")

    with pytest.raises(UserInputError, match="byte 12 is not; save it as UTF-8"):
        read_text(path)
