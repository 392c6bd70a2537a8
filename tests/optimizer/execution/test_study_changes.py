"""A changed study file is told by its keys, and a resumed run goes on to what was asked."""

import json
import shutil

import pytest

from optimizer.base.errors import StoreError
from optimizer.execution.asked_candidates import ASKED, NOTHING_ASKED, Asked, asked_before
from optimizer.execution.provenance import MODEL, model_digest, refuse_other_study
from optimizer.execution.store import Store
from optimizer.execution.study_changes import STARTED_VALUES, changes, started_values
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.small_study import write_small_study


@pytest.fixture
def changed(tmp_path):
    """Return a function from changes of the small study's file to what is told of them."""
    before = started_values(load_study(write_small_study(tmp_path / "before")))

    def told(*replaced):
        now = started_values(load_study(write_small_study(tmp_path / "now", *replaced)))
        return changes(before, now)

    return told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("seed = 11", "seed = 12", "seed was 11, is 12"),
        ("= 0.5", "= 0.7", "constraints.least_warning_s was 0.5, is 0.7"),
        ("hard_rides = 6", "hard_rides = 8", "search.hard_rides was 6, is 8"),
        (
            "[constraints]",
            "bounds.rate_filter_hz = [20.0, 100.0]\n[constraints]",
            "search.bounds.rate_filter_hz was [15.0, 120.0], is [20.0, 100.0]",
        ),
        (
            'use = "workshop_15"',
            'use = "workshop_15"\nstiffness.inner_band_deg = 1.0',
            "baseline.stiffness.inner_band_deg was 1.25, is 1",
        ),
        ("[search]", "[courses.kerb_up]\nweight = 2.0\n[search]",
         "courses.kerb_up.weight was 1, is 2"),
    ],
)  # fmt: skip
def test_one_change_is_told_by_its_key(changed, old, new, told):
    assert changed((old, new)) == [told]


def test_a_whole_rider_or_course_is_told_once(changed):
    assert changed(('"pupil_40", "baker_80"', '"pupil_40", "baker_80", "smith_105"')) == [
        "riders.smith_105 is new"
    ]
    assert changed(('"stand_still", "kerb_up", "cobbles"', '"stand_still", "kerb_up"')) == [
        "courses.cobbles is gone"
    ]


def test_many_changes_are_counted(changed):
    told = changed(('use = "lender_15"', 'use = "lender_17"'))

    assert len(told) == 4
    assert told[-1].startswith("and ")


def test_what_does_not_decide_is_no_change(changed):
    renamed = ("Two borrowers", "Three borrowers")

    assert changed(renamed, ("candidates = 36", "candidates = 60")) == []


def test_the_refusal_names_the_change_and_the_way_on(tmp_path):
    before = load_study(write_small_study(tmp_path))
    frozen = {"study.digest": before.digest, STARTED_VALUES: started_values(before)}
    after = load_study(write_small_study(tmp_path, ("seed = 11", "seed = 12")))
    frozen[MODEL] = model_digest()

    with pytest.raises(StoreError) as refused:
        refuse_other_study(store_path(tmp_path), frozen, after)

    assert "(seed was 11, is 12)" in str(refused.value)
    assert f"levelgain fork {tmp_path} NEW" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_resume_goes_on_to_what_was_asked_until_it_is_reached(levelgain, tmp_path):
    folder = write_small_study(tmp_path / "small", ("candidates = 36", "candidates = 60"))
    assert levelgain("run", folder, "--candidates", 12, "--json")[0] == 0
    study = load_study(folder)
    assert asked_before(study) == NOTHING_ASKED  # it is finished
    with Store(store_path(folder)) as store:
        store.keep({ASKED: "24"})  # as a run leaves it that is stopped early
    assert asked_before(study) == Asked(n_candidates=24)

    code, out, _ = levelgain("resume", folder, "--json")

    assert code == 0
    assert json.loads(out)["candidates"] == 24


def test_an_edited_study_is_forked_as_it_is_now(levelgain, finished, tmp_path):
    folder = shutil.copytree(finished, tmp_path / "edited")
    path = folder / "study.toml"
    path.write_text(path.read_text().replace("= 0.5", "= 0.4"))

    code, _, err = levelgain("front", folder)
    assert code == 2
    assert "constraints.least_warning_s was 0.5, is 0.4" in err

    code, out, err = levelgain("fork", folder, tmp_path / "new")
    assert (code, err) == (0, "")
    assert f"levelgain run {tmp_path / 'new'}" in out.replace("\n", " ")
    forked = load_study(tmp_path / "new")
    assert forked.settings.least_warning_s == 0.4
    assert len(forked.start) == 35
