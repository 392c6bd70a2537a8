"""A GPU that is asked for and not there: one line, exit code 2, and no file touched."""

import shutil
import sys

import pytest

from optimizer.study.load import load_study
from tests.optimizer.cli.test_commands import one_line
from tests.optimizer.small_study import write_small_study

ON_GPU = ("seed = 11", 'seed = 11\ndevice = "cuda"')


@pytest.fixture(autouse=True)
def without_cupy(monkeypatch):
    monkeypatch.setitem(sys.modules, "cupy", None)


def files(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    "command",
    [
        ("check", "STUDY"),
        ("resume", "STUDY"),
        ("compare", "STUDY", "baseline", "0", "--to", "STUDY/compared"),
        ("explain", "STUDY", "0"),
        ("ride", "STUDY"),
        ("validate", "STUDY", "--hours", "0.1"),
        ("transfer", "STUDY", "STUDY", "0"),
    ],
)
def test_every_command_that_rides_refuses_a_missing_gpu(levelgain, finished, tmp_path, command):
    study = shutil.copytree(finished, tmp_path / "study")
    before = files(tmp_path)
    asked = [word.replace("STUDY", str(study)) for word in command]

    refused = one_line(*levelgain(*asked, "--device", "cuda"))

    assert 'device = "cuda" needs the package cupy' in refused
    assert "pip install 'levelgain[cuda]'" in refused
    assert files(tmp_path) == before


def test_a_run_that_is_refused_makes_no_folder(levelgain, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    assert "cupy" in one_line(*levelgain("run", "hill_town", "--device", "cuda"))

    assert not list(tmp_path.iterdir())


def test_a_study_file_may_ask_for_a_gpu_and_the_option_prevails(levelgain, tmp_path):
    folder = write_small_study(tmp_path, ON_GPU)

    refused = one_line(*levelgain("run", folder))
    code, out, _ = levelgain("check", folder, "--device", "cpu")

    assert "cupy" in refused
    assert not (folder / "store.sqlite").exists()
    assert code == 0
    assert "the processor rides" in out.replace("\n", " ")


def test_another_device_is_refused_with_file_and_key(levelgain, tmp_path):
    folder = write_small_study(tmp_path, ("seed = 11", 'seed = 11\ndevice = "gpu"'))

    refused = one_line(*levelgain("check", folder))

    assert "study.toml: device: this key must be one of 'cpu', 'cuda', got 'gpu'" in refused


def test_nothing_that_decides_results_knows_the_device(tmp_path):
    here = load_study(write_small_study(tmp_path / "cpu"))
    there = load_study(write_small_study(tmp_path / "cuda", ON_GPU))

    assert (here.device, there.device) == ("cpu", "cuda")
    assert there.digest == here.digest
    assert there.day_digest == here.day_digest
