"""A file of rides that somebody else wrote is refused in one line, whatever it holds."""

import io
import json
import os
import zipfile

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.execution.ride_archive import read_ridden
from tests.optimizer.hostile import claiming


def written(path, **parts):
    with zipfile.ZipFile(path, "w") as file:
        for name, content in parts.items():
            file.writestr(f"{name}.npy", content)
    return path


def said(about):
    content = io.BytesIO()
    np.save(content, np.array(about))
    return content.getvalue()


@pytest.mark.parametrize(
    "about",
    [
        *("", "{}", "[]", '{"parts": 1}', '{"parts": [1]}', '{"parts": [[1]]}', "[" * 100_000),
        json.dumps({"parts": [[]]}),
    ],
    ids=range(8),
)
def test_a_file_of_rides_that_holds_other_things_is_refused(tmp_path, about):
    numbers = claiming("(1000000000000,)")
    path = written(tmp_path / "rides.npz", about=said(about), profiles_0=numbers, columns_0=numbers)

    with pytest.raises(UserInputError, match="can not be read or is damaged") as refused:
        read_ridden(path)
    assert len(str(refused.value)) < 3000


def test_a_pipe_in_place_of_a_file_of_rides_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "rides.npz")

    with pytest.raises(UserInputError, match="it is a named pipe"):
        read_ridden(tmp_path / "rides.npz")
