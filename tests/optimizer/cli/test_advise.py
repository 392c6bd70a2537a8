"""What `levelgain advise` prints and writes, and that `explain` takes any profile too."""

import json

import pandas as pd
import pytest

from optimizer.base.cautions import CAUTIONS
from optimizer.base.errors import UserInputError
from optimizer.interface.advice import advise
from optimizer.study.load import load_profile, load_study
from tests.optimizer.advice_study import write_advice_study


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return the folder of a study in which nothing was searched, with a weak profile in it."""
    folder = write_advice_study(tmp_path_factory.mktemp("advise") / "study")
    (folder / "weak.toml").write_text(
        'use = "workshop_15"\nstiffness.inner_gain_a_per_deg = 4.0\n', encoding="utf-8"
    )
    return folder


def test_the_changed_profile_is_written_once_with_its_cautions(levelgain, folder, tmp_path):
    weak, better = folder / "weak.toml", tmp_path / "better.toml"
    typed = ("advise", folder, weak, "--changes", "1", "--out", better)

    code, out, error = levelgain(*typed)

    assert code == 0, error
    assert "it FAILS 2 constraints:" in out
    assert "- inner_gain_a_per_deg 4 → " in out
    assert "Advice: make the best change." in out
    assert f"levelgain validate {folder} {better}" in out
    assert CAUTIONS[0] in out
    text = better.read_text(encoding="utf-8")
    assert f"# {CAUTIONS[0]}" in text
    before, after = load_profile(weak), load_profile(better)
    assert after.stiffness.inner_gain_a_per_deg > before.stiffness.inner_gain_a_per_deg
    assert after.damping == before.damping
    code, out, error = levelgain(*typed)
    assert (code, out, error.count("\n")) == (2, "", 1)
    assert "is there already" in error
    assert better.read_text(encoding="utf-8") == text


def test_json_holds_each_step_and_no_caution_where_nothing_is_written(levelgain, folder):
    code, out, error = levelgain("advise", folder, "baseline", "--changes", "1", "--json")

    assert code == 0, error
    facts = json.loads(out)
    as_it_is, changed = facts["steps"]
    assert facts["profile"] == "baseline"
    assert as_it_is["changes"] == []
    assert as_it_is["weighted_cost_ratio"] == pytest.approx(1.0)
    assert as_it_is["gain"] == {"mean": 0.0, "half_width": 0.0}
    assert len(changed["changes"]) == 1
    assert facts["file"] is None
    assert facts["cautions"] == []
    heard = []
    study = load_study(folder)
    found = advise(study, study.baseline, changes=1, on_progress=heard.append)
    assert [step.cost for step in found.steps] == [
        step["weighted_cost_ratio"] for step in facts["steps"]
    ]
    assert "riding single changes" in {progress.stage for progress in heard}
    with pytest.raises(UserInputError, match="from 1 to 3, got 0"):
        advise(study, study.baseline, changes=0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere.toml",), "nowhere.toml"),
        (("balancd",), "'balancd': no such profile; name a candidate by its number, a pick (bal"),
        (("",), "'': no such profile"),
        (("a" * 5000,), "…: no such profile"),
        (("balanced",), "run the study first"),
        (("baseline", "--out", "better.json"), "must name a file that ends in .toml"),
        (("baseline", "--changes", "4"), "--changes"),
    ],
)
def test_what_can_not_be_advised_is_one_line(levelgain, folder, words, said):
    code, out, error = levelgain("advise", folder, *words)

    assert (code, out, error.count("\n")) == (2, "", 1)
    assert said in error


def test_explain_takes_a_file_before_any_search_and_replaces_nothing(levelgain, folder):
    typed = ("explain", folder, folder / "weak.toml")

    code, out, error = levelgain(*typed)

    assert code == 0, error
    assert "What moves " in out
    assert "Nothing was searched yet" in out
    figures = folder / "results" / "figures"
    table = pd.read_csv(figures / "sensitivity_of_weak.csv")
    space = load_study(folder).space
    assert set(table["parameter"]) == set(space.names)
    assert table.set_index("parameter")["value"]["inner_gain_a_per_deg"] == 4.0
    code, out, error = levelgain(*typed)
    assert (code, out, error.count("\n")) == (2, "", 1)
    assert "--force" in error
    assert levelgain(*typed, "--force")[0] == 0


def test_explain_takes_the_baseline_and_a_file_beside_a_search(levelgain, finished, folder):
    code, baseline, error = levelgain("explain", finished, "baseline", "--json")
    assert code == 0, error
    code, of_file, error = levelgain("explain", finished, folder / "weak.toml", "--json")
    assert code == 0, error

    assert json.loads(baseline)["number"] == 0
    facts = json.loads(of_file)
    assert facts["number"] is None
    assert facts["profile"] == str(folder / "weak.toml")
    assert set(facts["importance"]) == set(json.loads(baseline)["importance"])
    assert facts["front_ends"] == json.loads(baseline)["front_ends"]
