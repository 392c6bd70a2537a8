"""The rider's speed: what is learnt by feel is unlearnt by feel, and a stop is a stop.

Common practice, no source: who brakes to a stand may roll back a little, at a walking pace, and
a rider keeps the wanted speed on ground of steady resistance.
"""

import numpy as np
import pytest

from plant.kernel.trace import trace
from plant.physics.reflex import trimmed
from tests import invented_rides

WALKING_MPS = 1.2


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_push_that_plainly_differs_is_answered_at_will_and_at_the_limit(sign):
    at_will = sign * 0.15, sign * 0.1  # speed error, asked
    at_limit = sign * 6.0, sign * 2.0
    for error, asked in (at_will, at_limit):
        more = trimmed(0.0, error, asked, sign * 1.4, 0.1)
        less = trimmed(0.0, error, asked, sign * -1.4, 0.1)
        assert sign * more == pytest.approx(0.03, abs=1e-3)  # 0.3 per s of what is over 0.4 m/s2
        assert sign * less == pytest.approx(-0.03, abs=1e-3)


def test_the_error_in_speed_is_learnt_at_will_but_not_at_the_limit():
    assert trimmed(0.0, 0.15, 0.1, 0.2, 1.0) == pytest.approx(0.05 * 0.15)
    assert trimmed(0.5, 6.0, 2.0, 0.2, 1.0) == 0.5


@pytest.mark.parametrize("mass_kg", [62.0, 80.0, 105.0])
def test_braking_to_a_stand_ends_in_a_stand(mass_kg):
    brake = invented_rides.course(
        "brake",
        invented_rides.road(),
        invented_rides.manoeuvre(16.0, ((0.0, 6.0), (2.0, 6.0), (2.1, 0.0))),
    )
    ridden = trace(invented_rides.profile_row(), invented_rides.ride(brake, mass_kg))
    after = ridden.time_s > 4.0
    assert ridden.outcome == 0
    assert ridden.speed_mps[after].min() > -WALKING_MPS
    assert np.abs(ridden.speed_mps[ridden.time_s > 13.0]).max() < 1.0


@pytest.mark.parametrize("rolling", [0.01, 0.03])
def test_speed_is_kept_on_steady_ground(rolling):
    surface = invented_rides.surface(rolling, 0.8, 4.0)
    along = invented_rides.course(
        "along",
        invented_rides.road(surface),
        invented_rides.manoeuvre(40.0, ((0.0, 4.0), (40.0, 4.0))),
    )
    ridden = trace(invented_rides.profile_row(), invented_rides.ride(along))
    assert ridden.speed_mps[ridden.time_s > 25.0].mean() == pytest.approx(4.0, abs=0.3)
