"""The benchmark of intervals counts what is ridden, and sees an interval that does not hold."""

import numpy as np
import pytest
from scipy.stats import betabinom

from optimizer.base.errors import UserInputError
from optimizer.study.load import load_study
from tests.benchmarks import clustered_counts
from tests.benchmarks.clustered_counts import (
    RoadModel,
    Roads,
    fitted,
    resampled_coverage,
    simulated_coverage,
)
from tests.benchmarks.interval_coverage import lanes_table, main, roads_of_counts
from tests.benchmarks.kept_falls import kept_falls
from tests.optimizer.small_study import write_small_study

MODEL = RoadModel(n_rides=16, mean=3e-4, correlation=0.1)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return load_study(write_small_study(tmp_path_factory.mktemp("small") / "small"))


def drawn_events(n_roads):
    random = np.random.default_rng(3)
    return betabinom.rvs(16, *MODEL.shapes, size=n_roads, random_state=random).astype(float)


def test_the_model_of_roads_is_found_again_in_what_it_draws():
    events = drawn_events(200_000)

    found = fitted(events, n_rides=16)

    assert found.mean == pytest.approx(MODEL.mean, rel=0.1)
    assert found.correlation == pytest.approx(MODEL.correlation, rel=0.15)
    # The moment estimate of the correlation: Kish 1965, a design effect of 1 + (16 - 1) rho.
    assert (events**2).sum() / events.sum() == pytest.approx(1.0 + 15.0 * 0.1, rel=0.1)
    assert found.thrown_together == pytest.approx(events.sum() / (events > 0).sum(), rel=0.05)


@pytest.mark.parametrize("expected", clustered_counts.EXPECTED)
def test_the_interval_holds_the_rate_in_both_worlds(expected):
    events, n_days = drawn_events(60_000), 400
    least = 0.95 - 2.5 * np.sqrt(0.05 * 0.95 / n_days)

    found = simulated_coverage(MODEL, expected=expected, n_days=n_days, seed=4)
    again = resampled_coverage(
        events, np.ones(len(events)), expected=expected, n_days=n_days, seed=4
    )

    assert min(found.covered, again.covered) >= least
    for one in (found, again):
        assert one.covered + one.too_low + one.too_high == pytest.approx(1.0)


def test_an_interval_that_takes_few_events_as_independent_is_seen_to_miss(monkeypatch):
    def independent(events, exposure):
        return event_rate(events, exposure, least_design_effect=1.0)

    event_rate = clustered_counts.event_rate
    monkeypatch.setattr(clustered_counts, "event_rate", independent)

    found = simulated_coverage(MODEL, expected=3, n_days=1000, seed=5)

    assert found.covered < 0.87
    assert found.too_low > 0.1 > found.too_high


def test_rides_over_one_road_share_its_cost_and_tell_less():
    # A road throws both of its rides or none: two of them tell no more than one.
    down = np.zeros((200, 2), dtype=bool)
    down[:4] = True
    roads = {"both": Roads(down=down, kilometres=np.ones((200, 2)))}

    text = lanes_table(roads, road_s=0.01, ride_s=0.001, together=1, lanes=(1, 2))

    two, one = (line.split(" | ") for line in text.splitlines()[2:])
    assert (one[0], two[0]) == ("| 1", "| 2")
    assert (float(one[2]), float(two[2])) == (11.0, 6.0)
    effects = [float(line[1].split()[0]) for line in (one, two)]
    assert effects == pytest.approx([1.0, 2.0], abs=0.05)
    assert float(one[3].rstrip(" |")) == pytest.approx(
        11.0 * effects[0] / (6.0 * effects[1]), abs=0.02
    )


def test_falls_continued_from_a_file_are_those_of_one_go(study, tmp_path):
    (tmp_path / "parts").mkdir()
    kept_falls(study, tmp_path / "parts" / "day.npz", hours=1.0, seed=7)
    parts = kept_falls(study, tmp_path / "parts" / "day.npz", hours=3.0, seed=7)
    whole = kept_falls(study, tmp_path / "day.npz", hours=3.0, seed=7)

    assert whole.hours == parts.hours >= 3.0
    np.testing.assert_array_equal(parts.down, whole.down)
    np.testing.assert_array_equal(parts.kilometres, whole.kilometres)
    with pytest.raises(UserInputError, match="another study or day"):
        kept_falls(study, tmp_path / "day.npz", hours=3.0, seed=8)


def write_counts(path):
    """Write the counts of two profiles on 400 roads of two rides, as `nose_down_counts` does."""
    places = np.array([[road, lane] for road in range(12) for lane in range(2)])
    fell = np.zeros((len(places), 2), dtype=bool)
    fell[:, 0] = True
    fell[0, 1] = True
    np.savez(path, places=places, down=fell, kilometres=np.full((400, 2), 5.0))


def test_counts_of_other_profiles_are_read_by_road(tmp_path):
    write_counts(tmp_path / "town_1.npz")

    found = roads_of_counts(tmp_path / "town_1.npz")

    assert list(found) == ["town_1, profile 0", "town_1, profile 1"]
    first, second = found.values()
    assert (first.events[:12] == 2.0).all()
    assert first.events.sum() == 24.0
    assert second.events.sum() == 1.0
    assert first.exposure.sum() == pytest.approx(4.0)
    with pytest.raises(UserInputError, match="holds no counts"):
        roads_of_counts(tmp_path / "none.npz")


def test_the_command_prints_its_tables_and_keeps_what_was_ridden(study, tmp_path):
    write_counts(tmp_path / "town_1.npz")
    command = [str(study.folder), "--hours", "0.5", "--days", "20", "--out", str(tmp_path / "out"),
               "--threads", "1", "--counts", str(tmp_path / "town_1.npz")]  # fmt: skip

    text = main(command)

    assert (tmp_path / "out" / "small_1.npz").is_file()
    assert "town_1, profile 0 | 4000 | 24 | 2 x 12 |" in text
    assert "profile 1" not in text
    assert "time for the same width" in text
    with pytest.raises(UserInputError, match="ride more --hours"):
        main(command[:-2])
