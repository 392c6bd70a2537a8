"""A study ends with the same bytes on every kind of processor."""

import pytest

from tests.optimizer.execution.search_digests import N_CANDIDATES
from tests.optimizer.processor_kinds import KINDS, run_python

OTHERS = [
    pytest.param("numpy without AVX2", marks=pytest.mark.slow),
    pytest.param("other BLAS", marks=pytest.mark.proof),
]
COMPILED = [name for name, kind in KINDS.items() if kind.numba is not None]


def _digests(name, cache):
    words = ["-m", "tests.optimizer.execution.search_digests"]
    return run_python(words, KINDS[name], cache=cache, timeout_s=800.0).splitlines()


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    found = _digests("native", tmp_path_factory.mktemp("cache"))
    assert len(set(found)) == N_CANDIDATES / 12
    return found


def test_every_kind_is_asked():
    asked = {parameter.values[0] for parameter in OTHERS} | set(COMPILED)

    assert asked == set(KINDS) - {"native"}


@pytest.mark.parametrize("name", OTHERS)
def test_numpy_and_blas_of_another_kind_propose_and_score_the_same(name, own, tmp_path):
    assert _digests(name, tmp_path) == own


@pytest.mark.slow
@pytest.mark.parametrize("name", COMPILED)
def test_code_compiled_for_another_kind_proposes_and_scores_the_same(
    name, own, compiled_for_others
):
    assert _digests(name, compiled_for_others) == own
