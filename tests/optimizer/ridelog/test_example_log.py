import pytest
from scipy.stats import binom

from optimizer.ridelog.fits.block_bootstrap import CONFIDENCE
from optimizer.ridelog.fits.motor import fit_motor
from optimizer.ridelog.fits.road import fit_road
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.log_data.checks import check_log
from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.log_data.resampling import load_log
from tests.reference import logged_ride
from tests.reference.example_log import SEED, recorded
from tests.reference.logged_truth import drawn_truth

RIDE = STUDIES_FOLDER / "ridden" / "ride.csv"


@pytest.fixture(scope="module")
def mapping():
    return load_mapping(RIDE.with_name("ride.mapping.toml"))


def test_the_packaged_log_is_small_and_has_one_gap(mapping):
    (finding,) = check_log(RIDE, mapping).findings

    assert "gap" in finding.text
    assert RIDE.stat().st_size < 700_000


def misses(log, board, truth):
    """Return of each interval that the motor's and the road's fits promise whether it misses."""
    return [
        not low <= getattr(truth, name) <= high
        for fit in (fit_motor(log, board), fit_road(log, board, truth.rider_kg))
        for name in fit.names
        for _, low, high in [fit.estimate(name)]
    ]


def most_misses(n_intervals):
    """Return the count of misses that is exceeded once in a thousand times at 95 % coverage."""
    return binom.ppf(0.999, n_intervals, 1.0 - CONFIDENCE)


def test_the_packaged_log_tells_what_it_was_made_with(mapping):
    log, _ = load_log(RIDE, mapping)

    missed = misses(log, mapping.board, drawn_truth(SEED))

    assert len(missed) == 6
    assert sum(missed) <= most_misses(len(missed))


# All around the packaged one, none chosen.
@pytest.mark.parametrize(
    "seeds",
    [
        pytest.param(range(SEED - 2, SEED + 3), marks=pytest.mark.slow),
        pytest.param(range(SEED - 9, SEED + 11), marks=pytest.mark.proof),
    ],
    ids=len,
)
def test_rides_recorded_like_the_packaged_one_miss_as_often_as_their_intervals_say(tmp_path, seeds):
    missed = []
    for seed in seeds:
        truth = drawn_truth(seed)
        (tmp_path / "m.toml").write_text(logged_ride.mapping(truth))
        recorded(seed).to_csv(tmp_path / "ride.csv", index=False)
        mapping = load_mapping(tmp_path / "m.toml")
        log, _ = load_log(tmp_path / "ride.csv", mapping)
        missed += misses(log, mapping.board, truth)

    assert len(missed) == 6 * len(seeds)
    assert sum(missed) <= most_misses(len(missed))


def test_the_command_writes_it_and_replaces_nothing(levelgain_log, tmp_path):
    assert levelgain_log("example", tmp_path / "tried")[0] == 0
    written = tmp_path / "tried" / "ride.csv"

    assert written.read_bytes() == RIDE.read_bytes()
    assert levelgain_log("example", tmp_path / "tried")[0] == 2
