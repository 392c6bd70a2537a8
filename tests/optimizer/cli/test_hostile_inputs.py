"""Whatever is given to the command, it answers in one line and soon, and never with a traceback."""

import shutil
import time
import unicodedata
import warnings

import pytest

from tests.optimizer.hostile import BESIDE_RESULTS, FAMILIES, ON_RESULTS

SLOWEST_S = 60.0  # on a busy machine; most take some hundredths
LARGE = 120  # attacks in a family


def attacks(*wanted):
    """Return the attacks of some families; of a large one each third, and all of it for a proof."""
    found = []
    for family in filter(wanted.__contains__, FAMILIES):
        members = list(FAMILIES[family]())
        for place, (name, prepare) in enumerate(members):
            left_out = len(members) > LARGE and place % 3
            marks = [pytest.mark.proof] if left_out else []
            found.append(pytest.param(prepare, id=f"{family}-{name}", marks=marks))
    return found


@pytest.fixture
def attacked(levelgain, tmp_path, monkeypatch):
    """Return a function that types what an attack says, and holds the answer to what is asked."""
    monkeypatch.chdir(tmp_path)

    def attack(prepare, **places):
        (tmp_path / "in").mkdir(exist_ok=True)
        typed = [str(word) for word in prepare(tmp_path / "in")]
        for name, place in places.items():
            typed = [word.replace(name, str(place)) for word in typed]
        started = time.monotonic()

        with warnings.catch_warnings():
            warnings.simplefilter("error")
            code, out, err = levelgain(*typed)

        assert time.monotonic() - started < SLOWEST_S
        assert code in (0, 2)
        shown = out + err
        assert not [sign for sign in shown if unicodedata.category(sign) == "Cc" and sign != "\n"]
        if code == 2:
            assert out == ""
            assert err.count("\n") == 1
            assert len(err) < 5000
            assert [path.name for path in tmp_path.iterdir()] == ["in"]

    return attack


@pytest.mark.timeout(150)
@pytest.mark.parametrize("prepare", attacks(*(set(FAMILIES) - {*ON_RESULTS, BESIDE_RESULTS})))
def test_a_hostile_input_is_refused_in_one_line(attacked, prepare):
    attacked(prepare)


@pytest.mark.timeout(150, func_only=True)  # the results take a search
@pytest.mark.parametrize("prepare", attacks(*ON_RESULTS))
def test_a_hostile_question_of_results_is_refused_in_one_line(
    attacked, finished, tmp_path, prepare
):
    attacked(prepare, FINISHED=finished, EXPORTS=tmp_path / "to")


@pytest.mark.timeout(150, func_only=True)
@pytest.mark.parametrize("prepare", attacks(BESIDE_RESULTS))
def test_what_others_put_beside_results_is_refused_in_one_line(
    attacked, finished, tmp_path, prepare
):
    shutil.copytree(finished, tmp_path / "in")

    attacked(prepare, EXPORTS=tmp_path / "in" / "to")
