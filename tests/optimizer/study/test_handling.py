"""Handling is measured on quiet rides, which no draw of noise moves."""

import dataclasses

import numpy as np
import pytest

from objectives import ride_columns
from objectives.handling import HANDLING_PREFIX
from objectives.ride_scores import RIDE_COLUMNS, outcome_codes
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.handling import quiet
from optimizer.study.load import load_study
from optimizer.study.seeded_ride import seeded_ride
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate

N_DRAWS = 48  # the mean is then known to a hundredth of a degree


@pytest.fixture(scope="module")
def study():
    return load_study(STUDIES_FOLDER / "hill_town")


def test_a_handling_ride_has_no_noise_of_the_gyro_and_no_sway(study):
    for ride in study.handling:
        assert ride.board.sensors.gyro_noise_deg_per_s == 0.0
        assert ride.board.sensors.gyro_noise_per_mps2 == 0.0
        assert ride.rider.skill.sway_ratio == 0.0
        noisy = study.riders[ride.rider_name]
        assert ride.rider.body == noisy.body
        assert ride == quiet(dataclasses.replace(ride, board=study.board, rider=noisy))


@pytest.mark.parametrize(
    ("test", "column", "near"),
    [
        ("accelerate", "feel_deg_per_mps2", 0.15),
        ("brake", "braking_feel_deg_per_mps2", 0.15),
        ("grade_step", "hold_pitch_most_deg", 0.6),
        ("bend", "hold_pitch_mean_deg", 0.5),
        ("tail_drag", "tail_effort_ratio", 0.05),
    ],
)
def test_a_quiet_ride_measures_about_the_mean_over_draws_of_noise(study, test, column, near):
    quiet_rides = [r for r in study.handling if r.course.name == HANDLING_PREFIX + test]
    draws = [
        seeded_ride(
            ride.course,
            ride.rider_name,
            study.riders[ride.rider_name],
            board=study.board,
            seed=seed,
        )
        for ride in quiet_rides
        for seed in range(N_DRAWS)
    ]
    profile = profile_to_array(study.baseline)[np.newaxis]

    found, drawn = (ride_columns(simulate(profile, rides), rides) for rides in (quiet_rides, draws))

    assert (outcome_codes(found) == Outcome.RIDDEN).all()
    place = RIDE_COLUMNS.index(column)
    by_ride = drawn[0, :, place].reshape(len(quiet_rides), N_DRAWS)
    np.testing.assert_allclose(found[0, :, place], by_ride.mean(axis=1), rtol=0.0, atol=near)
