"""Settings for every test."""

import os

import joblib
import pytest
from filelock import FileLock
from hypothesis import settings

settings.register_profile("local", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "local")

MOST_PROCESSES = 8  # each needs a gigabyte, and seconds to load all tests
# A long file that rides nothing: while one process is at it another one compiles the kernel.
FIRST_FILE = "test_fit_outside.py"


def pytest_xdist_auto_num_workers(config):
    """Return how many processes run the tests: one for each core; named tests need no second."""
    if config.args_source is pytest.Config.ArgsSource.ARGS:
        return 0
    # Each process has a core, so that more threads of linear algebra only wait for one another.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    return min(joblib.cpu_count(), MOST_PROCESSES)


def pytest_collection_modifyitems(config, items):
    """Leave proofs out unless they are asked for, and begin with the files of slow tests.

    So no process is left alone with one of these at the end, nor do two compile the same code.
    """
    if "proof" not in config.option.markexpr:
        proofs = [item for item in items if item.get_closest_marker("proof")]
        config.hook.pytest_deselected(items=proofs)
        items[:] = [item for item in items if item not in proofs]
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: (item.path.name != FIRST_FILE, item.path not in slow))


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """Return a folder that all processes of the tests share."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own


@pytest.fixture(scope="session")
def made_once(shared):
    """Return what gives a folder to be read only, made by the first process that asks for it."""

    def made(name, make):
        folder, done = shared / name, shared / f"{name}.made"
        with FileLock(shared / f"{name}.lock"):
            if not done.exists():
                make(folder)
                done.touch()
        return folder

    return made


@pytest.fixture(scope="session")
def compiled_for_others(shared):
    """Return a cache for code compiled for other processors, one for all processes of the tests."""
    return shared / "compiled_for_others"
