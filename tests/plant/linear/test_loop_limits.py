"""What bounds say of loops against their margins, and the bounds against cubics drawn finely."""

import numpy as np
import pytest
from scipy.interpolate import BarycentricInterpolator

from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.linear.balance_loop import loop_gains, loop_margins, loop_plant
from plant.linear.loop_limits import Judged, LoopLimits, _beside, judged_loops
from tests import invented

RIDERS = (invented.rider(40.0, 1.49), invented.rider(80.0, 1.78), invented.rider(105.0, 1.83))
RANGES = {
    "inner_gain_a_per_deg": (3.0, 15.0),
    "base_gain_a_per_deg": (1.5, 12.0),
    "rate_gain_a_per_deg_per_s": (0.05, 1.5),
    "rate_filter_hz": (10.0, 150.0),
    "integral_gain_a_per_deg_s": (0.0, 8.0),
    "feed_forward_ratio": (0.4, 1.2),
    "acceleration_gain_a_per_mps2": (0.0, 8.0),
    "acceleration_integral_a_per_mps": (0.0, 20.0),
    "acceleration_filter_hz": (5.0, 30.0),
}
USUAL = {"modulus": 0.5, "gain_ratio": 1.5, "phase_deg": 30.0}
N_PROFILES = 300


def random_profiles():
    """Return profiles of which every second one has a loop inside."""
    random = np.random.default_rng(7)
    table = np.tile(profile_to_array(invented.profile()), (N_PROFILES, 1))
    for name, bounds in RANGES.items():
        rows = slice(None) if "gain_a_per_deg" in name or "rate" in name else slice(0, None, 2)
        table[rows, PROFILE_NAMES.index(name)] = random.uniform(*bounds, N_PROFILES)[rows]
    return table


@pytest.fixture(scope="module")
def loops():
    """Return plant, gains and margins of the profiles with every rider at rest and fast."""
    plant = loop_plant(invented.board(), RIDERS, speeds_mps=(0.0, 9.0))
    gains = loop_gains(random_profiles())
    return plant, gains, loop_margins(plant, gains)


@pytest.mark.parametrize(
    "limits",
    [
        {},
        {"modulus": 0.05},
        {"gain_ratio": 2.0, "phase_deg": 5.0},
        {"modulus": 0.1, "gain_ratio": 1.05, "phase_deg": 60.0},
    ],
)
def test_bounds_say_of_a_loop_what_its_margins_say(loops, limits):
    plant, gains, margins = loops
    asked = LoopLimits(**USUAL | limits)

    judged = np.swapaxes(judged_loops(plant, gains, asked), 1, 2)

    keeps = (
        margins.stable
        & (margins.modulus >= asked.modulus)
        & (margins.gain_room >= np.log(asked.gain_ratio))
        & (margins.phase_deg >= asked.phase_deg)
    )
    assert 0.03 < keeps.mean() < 0.97
    assert not keeps[judged == Judged.BREAKS].any()
    # Riders are left alone after the first with whom a candidate breaks a limit.
    breaks_before = np.cumsum((judged == Judged.BREAKS).any(axis=1), axis=1) > 0
    looked_at = np.repeat(~np.roll(breaks_before, 1, axis=1)[:, None], judged.shape[1], axis=1)
    looked_at[:, :, 0] = True
    assert keeps[looked_at & (judged == Judged.KEEPS)].all()
    assert np.all(judged[~looked_at] == Judged.KEEPS)


def test_no_bound_keeps_a_limit_of_phase_beyond_a_right_angle(loops):
    plant, gains, margins = loops
    wide = LoopLimits(modulus=0.02, gain_ratio=1.01, phase_deg=95.0)

    judged = np.swapaxes(judged_loops(plant, gains, wide), 1, 2)

    crosses = np.isfinite(margins.phase_deg[:, :, 0])
    assert crosses.all()
    assert np.all(judged[:, :, 0] != Judged.KEEPS)


def test_bounds_judge_nine_loops_in_ten(loops):
    plant, gains, _ = loops

    judged = judged_loops(plant, gains, LoopLimits(**USUAL))

    assert np.mean(judged == Judged.OPEN) < 0.1


def test_weights_of_the_other_points_are_as_large_as_in_the_cubic_at_most():
    place = np.cumsum(np.random.default_rng(3).uniform(0.05, 1.0, 12))
    first = 2

    others, widths, weights = _beside(place, first)

    for interval, k in enumerate(range(first, len(place) - 1)):
        own = place[k] + widths[:, interval] * (place[k + 1] - place[k])
        np.testing.assert_allclose(own, place[others[:, interval]])
        within = np.linspace(place[k], place[k + 1], 200)
        stencil = np.sort([k, k + 1, *others[:, interval]])
        for other, weight in zip(others[:, interval], weights[:, interval], strict=True):
            unit = (stencil == other).astype(float)
            drawn = BarycentricInterpolator(place[stencil], unit)(within)
            assert np.abs(drawn).max() <= weight
            assert np.abs(drawn).max() > 0.4 * weight
