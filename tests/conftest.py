"""Settings for every test."""

import os

import joblib
import pytest
from hypothesis import settings

settings.register_profile("local", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "local")

MOST_PROCESSES = 8  # each needs a gigabyte, and seconds to load all tests


def pytest_xdist_auto_num_workers(config):
    """Return how many processes run the tests: one for each core; named tests need no second."""
    if config.args_source is pytest.Config.ArgsSource.ARGS:
        return 0
    # Each process has a core, so that more threads of linear algebra only wait for one another.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    return min(joblib.cpu_count(), MOST_PROCESSES)


def pytest_collection_modifyitems(config, items):
    """Leave proofs out unless they are asked for, and begin with the files of slow tests.

    So no process is left alone with one of these at the end.
    """
    if "proof" not in config.option.markexpr:
        proofs = [item for item in items if item.get_closest_marker("proof")]
        config.hook.pytest_deselected(items=proofs)
        items[:] = [item for item in items if item not in proofs]
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)


@pytest.fixture(scope="session")
def compiled_for_others(tmp_path_factory):
    """Return a cache for code compiled for other processors, one for all processes of the tests."""
    own = tmp_path_factory.getbasetemp()
    return (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "compiled_for_others"
