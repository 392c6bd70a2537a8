import sys

import numpy as np
import pytest

from optimizer.cli import app as cli
from tests.optimizer.study.log_data.written_logs import sound, write_mapping


@pytest.fixture
def refused(monkeypatch, capsys, tmp_path):
    """Return a function that checks a log by command and returns the one line of its refusal."""

    def check(log="ride.csv", *, command="check", **mapping):
        path = write_mapping(tmp_path / "ride.mapping.toml", **mapping)
        arguments = ["levelgain", "log", command, str(tmp_path / log)]
        monkeypatch.setattr(sys, "argv", [*arguments, "--mapping", str(path)])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        said = capsys.readouterr()
        assert ended.value.code == 2
        assert said.out == ""
        assert said.err.count("\n") == 1
        assert "Traceback" not in said.err
        return said.err

    return check


HEADER = "t,iq,v,pitch,gyro\n"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "empty"),
        ("\n\n", "empty"),
        (HEADER, "two rows"),
        (HEADER + "0,1,2,3,4\n", "got 1"),
        (HEADER + "nan,nan,nan,nan,nan\n" * 9, "time column holds 0 numbers"),
        (HEADER + "".join(f"{t},,,,\n" for t in range(9)), "no column but the time"),
        (HEADER.replace(",", ";") + "0;1;2;3;4\n" * 9, 'separator = "semicolon"'),
        (HEADER.replace("gyro", "wheel") + "0,1,2,3,4\n" * 9, "no column 'gyro'"),
        (HEADER + "".join(f"{9 - t},1,2,3,4\n" for t in range(9)), "time runs backwards"),
        (HEADER + "0,1,2,3,4\n0.1,1,two,3,4\n", "'two' is no number"),
        (HEADER + "0,1,2,3,4\n0.1,1,2\n", "number of columns"),
        (HEADER + "0,0,1,5,2,5,3,5,4,5\n" * 9, "decimal commas"),
    ],
)
def test_a_bad_log_is_refused_in_one_line(refused, tmp_path, content, words):
    (tmp_path / "ride.csv").write_text(content)

    assert words in refused()


def test_decimal_commas_are_refused_until_the_mapping_says_so(refused, tmp_path):
    sound().to_csv(tmp_path / "ride.csv", index=False, sep=";", decimal=",")

    assert 'decimal = ","' in refused(separator="semicolon")


def test_decimal_commas_are_read_when_the_mapping_says_so(monkeypatch, capsys, tmp_path):
    sound().to_csv(tmp_path / "ride.csv", index=False, sep=";", decimal=",")
    write_mapping(tmp_path / "ride.mapping.toml", separator="semicolon", decimal=",")
    monkeypatch.setattr(sys, "argv", ["levelgain", "log", "check", str(tmp_path / "ride.csv")])

    with pytest.raises(SystemExit) as ended:
        cli.main()

    assert not ended.value.code
    assert "6000 rows" in capsys.readouterr().out


@pytest.mark.parametrize("start", [b"", HEADER.encode()])
def test_a_file_of_two_gigabytes_that_holds_nothing_is_refused(refused, tmp_path, start):
    with (tmp_path / "ride.csv").open("wb") as file:
        file.write(start)
        file.truncate(2 << 30)

    assert "binary" in refused()


def test_a_hole_of_two_gigabytes_inside_a_log_is_refused(refused, tmp_path):
    with (tmp_path / "ride.csv").open("wb") as file:
        file.write((HEADER + "0,1,2,3,4\n" * 20_000).encode())
        file.truncate(2 << 30)

    assert "damaged" in refused()


def test_a_binary_file_is_refused(refused, tmp_path):
    (tmp_path / "ride.csv").write_bytes(np.random.default_rng(1).bytes(100_000))

    assert "binary" in refused()


def test_a_missing_file_and_a_folder_are_refused(refused, tmp_path):
    assert "no such file" in refused("nowhere.csv")
    assert "can not be read" in refused(".")
    assert "no such file" in refused("nowhere.parquet")


def test_a_csv_file_that_is_called_parquet_is_refused(refused, tmp_path):
    sound().to_csv(tmp_path / "ride.parquet")

    assert "not a Parquet file" in refused("ride.parquet")


def test_a_parquet_column_of_words_is_refused(refused, tmp_path):
    sound(n_rows=50).astype({"iq": str}).assign(iq="much").to_parquet(tmp_path / "ride.parquet")

    assert "holds" in refused("ride.parquet")


def test_a_damaged_parquet_file_is_refused(refused, tmp_path):
    path = tmp_path / "ride.parquet"
    sound().to_parquet(path)
    content = bytearray(path.read_bytes())
    content[1000:9000] = bytes(8000)
    path.write_bytes(content)

    assert "Parquet" in refused("ride.parquet")
