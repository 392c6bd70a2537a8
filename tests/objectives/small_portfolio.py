"""An invented portfolio of two riders on three courses, and made-up metrics of its rides."""

import dataclasses

import numpy as np

from objectives import ScoreSettings, score_rules
from objectives.nose_down_rate import DayRules
from plant.description.course import Course, Manoeuvre, Part, Patch, Road, Start, Surface
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.simulate import Ride, Rides
from tests import invented

BOARD = invented.board()
LIGHT = invented.rider(40.0, 1.49, lean_gain_ratio=0.27)
HEAVY = invented.rider(105.0, 1.83)


def course(name, **manoeuvre):
    """Return a course on smooth level ground that lasts 10 s."""
    smooth = Surface(rolling_ratio=0.01, friction_ratio=0.9, roughness_1e6_m3=0.0)
    return Course(
        name=name,
        title=name,
        road=Road(patches=(Patch(from_m=0.0, surface=smooth),)),
        manoeuvre=Manoeuvre(duration_s=10.0, **manoeuvre),
        road_seed=1,
    )


STAND = course(
    "stand", start=Start.STANDING, speed_mps=((0.0, 0.0), (10.0, 0.0)), hold_s=((1.0, 10.0),)
)
CRUISE = course("cruise", speed_mps=((0.0, 4.0),), hold_s=((1.0, 10.0),), count_s=((2.0, 8.0),))
KERB = course("kerb", speed_mps=((0.0, 3.0),), count_s=((1.0, 5.0),))

RIDERS = {"light": LIGHT, "heavy": HEAVY}
RIDES = tuple(
    Ride(course=where, rider_name=who, rider=RIDERS[who], board=BOARD, noise_seed=1)
    for where, who in (
        (STAND, "light"),
        (CRUISE, "light"),
        (KERB, "light"),
        (CRUISE, "heavy"),
        (KERB, "heavy"),
    )
)
WEIGHT = np.array([1.0, 2.0, 1.0, 2.0, 1.0])

# Parts of rides of a day: three over two roads by the light rider, one by the heavy.
HARD = tuple(
    Ride(
        course=dataclasses.replace(
            CRUISE,
            name=f"hard_{number}",
            part=Part(from_s=2.0, to_s=8.0, from_m=8.0, speed_mps=4.0),
        ),
        rider_name=who,
        rider=RIDERS[who],
        board=BOARD,
        noise_seed=number,
    )
    for number, who in enumerate(("light", "light", "light", "heavy"))
)
ALL_RIDES = RIDES + HARD
DAY = DayRules(
    rider=np.array([0, 0, 0, 1]),
    road=np.array([0, 0, 1, 1]),
    weight=np.ones(4),
    kilometres=np.array([20.0, 60.0]),
    worst_rider_weight=0.5,
)


def rules(day=None, **settings):
    """Return the rules of the portfolio, with those of its hard rides if a day is given."""
    return score_rules(RIDES, ride_weight=WEIGHT, settings=ScoreSettings(**settings), day=day)


CALM = {
    "ride_time_s": 10.0,
    "hold_pitch_rms_deg": 2.0,
    "hold_pitch_rate_rms_deg_per_s": 1.0,
    "excess_current_a": 50.0,
    "peak_current_a": 80.0,
    "least_reserve_ratio": 0.4,
    "least_nose_margin_ratio": 0.7,
    "feel_deg_per_mps2": 1.4,
    "mosfet_peak_c": 45.0,
}


def ridden(n_candidates, *, outcome=0, **columns):
    """Return made-up rides, each ridden to its end unless `outcome` says otherwise."""
    return _made_up((n_candidates, len(RIDES)), outcome, CALM | columns)


def with_hard(own, *, outcome=0, **columns):
    """Return rides with made-up hard rides after them."""
    hard = _made_up((len(own.outcome), len(HARD)), outcome, CALM | {"ride_time_s": 6.0} | columns)
    return Rides(
        metrics=np.hstack([own.metrics, hard.metrics]),
        outcome=np.hstack([own.outcome, hard.outcome]),
    )


def _made_up(shape, outcome, columns):
    metrics = np.zeros((*shape, len(METRIC_NAMES)))
    for name, value in columns.items():
        metrics[:, :, METRIC_NAMES.index(name)] = value
    return Rides(metrics=metrics, outcome=np.broadcast_to(outcome, shape).astype(np.int8))
