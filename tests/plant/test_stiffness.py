"""The stiffness of a whole profile as a curve, against its gains drawn by hand."""

import dataclasses

import numpy as np

from plant.description.profile_array import profile_to_array
from plant.stiffness import stiffness_curve
from tests import invented_rides


def test_the_curve_is_the_area_under_the_gains_and_soft_braking_scales_it():
    whole = invented_rides.profile()
    stiffness = dataclasses.replace(
        whole.stiffness,
        inner_gain_a_per_deg=8.0,
        inner_band_deg=1.0,
        base_gain_a_per_deg=4.0,
        mid_knee_deg=5.0,
        mid_gain_ratio=1.5,
        outer_knee_deg=9.0,
        outer_gain_ratio=2.0,
    )
    braking = dataclasses.replace(whole.braking, braking_stiffness_ratio=0.6)
    row = profile_to_array(dataclasses.replace(whole, stiffness=stiffness, braking=braking))

    riding, brakes = stiffness_curve(row, np.array([-1.0, 0.0, 1.0, 5.0, 9.0, 10.0]))

    np.testing.assert_allclose(riding, [-8.0, 0.0, 8.0, 24.0, 48.0, 60.0])
    np.testing.assert_allclose(brakes, 0.6 * riding)
