"""What a rider feels between two profiles, in words."""

import numpy as np
import pytest

from objectives.handling import HANDLING_NAMES
from optimizer.analysis.felt_differences import felt_differences

PLAIN = {
    "feel_deg_per_mps2": (2.0, 3.0),
    "braking_feel_deg_per_mps2": (2.0, 3.0),
    "grade_dip_deg": (0.5, 1.5),
    "bend_lift_deg": (0.3, 0.4),
    "stiffness_nm_per_deg": (4.0, 4.0),
    "tail_effort_ratio": (0.2, 0.1),
    "warned_ratio": (0.0, 0.05),
    "climb_speed_ratio": (1.0, 0.98),
}


def handling(**changed):
    return np.array([changed.get(name, PLAIN[name]) for name in HANDLING_NAMES])


def test_every_number_of_handling_has_its_words():
    lines = felt_differences(handling(), handling() + 0.5)

    assert len(lines) == len(HANDLING_NAMES)
    assert not any("alike" in line for line in lines)


def test_equal_profiles_feel_alike_everywhere():
    (line,) = felt_differences(handling(), handling())

    assert line.startswith("alike: accelerating at 1 m/s2; braking at 1 m/s2; ")


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"feel_deg_per_mps2": (1.3, 1.8)},
            "accelerating at 1 m/s2, the nose dips 0.7 deg less with the lightest rider and 1.2 deg"
            " less with the heaviest rider",
        ),
        (
            {"stiffness_nm_per_deg": (6.0, 6.0)},
            "near level, the board is 50 % stiffer with every rider",
        ),
        (
            {"stiffness_nm_per_deg": (8.96, 8.96)},
            "near level, the board is 120 % stiffer with every rider",
        ),
        (
            {"warned_ratio": (0.0, 0.08)},
            "where no warning is due, a warning is felt as before with the lightest rider and 3 %"
            " of the time more with the heaviest rider",
        ),
        (
            {"climb_speed_ratio": (0.97, 0.95)},
            "on climbs, the board rides 3 % of the asked speed slower with every rider",
        ),
        (
            {"bend_lift_deg": (np.nan, 1.4)},
            "in a bend at 45 deg/s, the nose lies 1 deg higher with the heaviest rider",
        ),
    ],
)
def test_a_change_is_told_by_rider_in_what_is_felt(changed, words):
    assert felt_differences(handling(), handling(**changed))[0] == words


def test_of_what_was_not_measured_nothing_is_said():
    missing = handling(grade_dip_deg=(np.nan, np.nan))

    assert "climb of 10 %" not in " ".join(felt_differences(handling(), missing))
