import ast
import sys
from pathlib import Path

import numpy as np
import pytest

import objectives
import optimizer.base
import optimizer.search
import plant
from optimizer.base.versions import PROPOSING, RIDING, by_library, library_versions

OURS = {"levelgain", "objectives", "optimizer", "plant"}
# A folder and the number of cores decide no number, a GPU gives the same ones, and numba asks for
# one version of llvmlite.
ASIDE = {"platformdirs", "joblib", "cupy", "cupyx", "llvmlite"}
# The search as a sampler for other studies: a study of ours proposes without it.
ADAPTERS = ("optuna_sampler", "optuna_trials")


def imported(package) -> set[str]:
    """Return the libraries of others that the modules of a package import, also when needed."""
    names = set()
    for source in Path(package.__path__[0]).rglob("*.py"):
        if source.stem in ADAPTERS:
            continue
        for node in ast.walk(ast.parse(source.read_text())):
            if isinstance(node, ast.Import):
                names |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                names.add(node.module.partition(".")[0])
            elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
                names |= {each.value.partition(".")[0] for each in node.args if is_text(each)}
    return names - OURS - ASIDE - sys.stdlib_module_names


def is_text(node) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def test_every_library_that_rides_or_proposes_is_frozen_with_a_study():
    searching = {path.stem for path in Path(optimizer.search.__path__[0]).glob("*.py")}
    assert searching > set(ADAPTERS)
    assert imported(plant) == {"numba", "numpy"}  # scipy's FFT differs from release to release
    assert imported(plant) | imported(objectives) | {"levelgain"} == set(RIDING)
    # What a search calls in `base` proposes too: the points of its first generation.
    assert imported(optimizer.search) | imported(optimizer.base) == set(PROPOSING)


def test_versions_are_read_back_by_the_names_of_their_libraries():
    frozen = {"search.seed": "3", **library_versions(["numpy"])}

    assert by_library(frozen) == {"numpy": np.__version__}


def test_a_library_that_is_not_installed_is_an_error():
    with pytest.raises(ModuleNotFoundError):
        library_versions(["no-such-library"])
