"""A search stops where its first generations never ride some ride to its end, and says why."""

from optimizer.execution.store import Store
from optimizer.execution.unridden import JUDGED_GENERATIONS
from optimizer.study.paths import store_path
from tests.optimizer.small_study import searched, write_small_study

# A drive with too little current for 25 % under a heavy rider; generations of few.
WEAK = (
    ('use = "lender_15"', 'use = "lender_15"\ndrive.phase_current_limit_a = 40.0'),
    ('"pupil_40", "baker_80"', '"pupil_40", "smith_105"'),
    ('"stand_still", "kerb_up", "cobbles"', '"stand_still", "kerb_up", "steep_up"'),
    ("population = 12", "population = 4"),
)
JUDGED = 4 * JUDGED_GENERATIONS


def n_stored(folder):
    with Store(store_path(folder)) as store:
        return store.n_candidates


def test_a_board_that_rides_nobody_stops_its_search_and_resume_goes_on(tmp_path):
    folder = write_small_study(tmp_path, *WEAK)
    told = []

    searched(folder, JUDGED + 8, notices=told)

    (reason,) = [line for line in told if "the search stops" in line]
    assert f"None of the first {JUDGED} candidates rides" in reason
    assert "steep_up/smith_105 (" in reason
    assert f"levelgain check {folder}" in reason
    assert n_stored(folder) == JUDGED

    told.clear()
    searched(folder, JUDGED + 8, notices=told)
    assert told == []
    assert n_stored(folder) == JUDGED + 8


def test_a_board_that_can_be_ridden_searches_on(tmp_path):
    folder = write_small_study(tmp_path, ("population = 12", "population = 4"))

    searched(folder, JUDGED + 4)

    assert n_stored(folder) == JUDGED + 4
