"""Invented riders, a profile and courses that ride well together, for tests of whole rides."""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from plant.description.course import Course, Manoeuvre, Patch, Points, Road, Start, Surface
from plant.description.profile import Profile
from plant.description.profile_array import profile_to_array
from plant.description.rider import Rider
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.simulate import Ride, Rides
from tests import invented

# (mass kg, stature m) and habits that suit each body.
BODIES = {40.0: 1.49, 62.0: 1.66, 80.0: 1.78, 105.0: 1.83}
_HABITS = {
    "lean_gain_ratio": (0.281, 0.112, 0.160, 0.151),
    "lean_rate_gain_s": (0.086, 0.078, 0.065, 0.060),
    "leg_stiffness_ratio": (0.029, 0.130, 0.069, 0.048),
    "leg_damping_s": (0.450, 0.005, 0.002, 0.002),
}


def rider(mass_kg: float, **habits: float) -> Rider:
    """Return a rider of one of the four bodies; `habits` replaces single ones."""
    fitting = {
        name: float(np.interp(mass_kg, list(BODIES), values)) for name, values in _HABITS.items()
    }
    calm = {"reflex_delay_s": 0.10, "reflex_lag_s": 0.03, "sway_ratio": 0.001}
    return invented.rider(mass_kg, BODIES[mass_kg], **(fitting | calm | habits))


def profile() -> Profile:
    """Return a profile on which these riders come through most of the courses."""
    start = invented.profile()
    return dataclasses.replace(
        start,
        stiffness=dataclasses.replace(
            start.stiffness, base_gain_a_per_deg=4.0, mid_knee_deg=5.0, outer_knee_deg=9.0
        ),
        damping=dataclasses.replace(start.damping, rate_gain_a_per_deg_per_s=0.6),
        integral=dataclasses.replace(
            start.integral, integral_gain_a_per_deg_s=2.0, integral_clamp_a=15.0
        ),
        load_response=dataclasses.replace(
            start.load_response,
            expected_current_a_per_mps2=22.0,
            load_deadband_mps2=0.3,
            uphill_gain_deg_per_mps2=2.5,
            downhill_gain_deg_per_mps2=2.0,
            load_shift_cap_deg=9.0,
            load_rise_deg_per_s=12.0,
        ),
        engagement=dataclasses.replace(
            start.engagement, engage_angle_deg=8.0, torque_build_up_s=0.15
        ),
    )


def profile_row() -> NDArray[np.float64]:
    """Return that profile as the kernel takes it, (parameter,)."""
    return profile_to_array(profile())


def surface(rolling: float, friction: float, roughness_1e6_m3: float) -> Surface:
    """Return a surface."""
    return Surface(
        rolling_ratio=rolling, friction_ratio=friction, roughness_1e6_m3=roughness_1e6_m3
    )


ASPHALT = surface(0.012, 0.8, 16.0)
COBBLES = surface(0.015, 0.7, 256.0)


def road(
    under: Surface = ASPHALT,
    *,
    grade_percent: Points = ((0.0, 0.0),),
    kerbs: Points = (),
    grade_blend_m: float = 1.0,
) -> Road:
    """Return a road of one surface."""
    return Road(
        patches=(Patch(from_m=0.0, surface=under),),
        grade_percent=grade_percent,
        kerbs=kerbs,
        grade_blend_m=grade_blend_m,
    )


def course(name: str, on: Road, manoeuvre: Manoeuvre) -> Course:
    """Return a course titled by its name."""
    return Course(name=name, title=name, road=on, manoeuvre=manoeuvre, road_seed=3)


def manoeuvre(duration_s: float, speed_mps: Points, **options: object) -> Manoeuvre:
    """Return a manoeuvre held to account from its first second to its end."""
    windows = {"hold_s": ((1.0, duration_s),), "count_s": ((1.0, duration_s),)}
    return Manoeuvre(duration_s=duration_s, speed_mps=speed_mps, **(windows | options))  # type: ignore[arg-type]


def always_measured(ridden: Rides) -> NDArray[np.float64]:
    """Return the metrics that every ride has, (candidate, ride, metric)."""
    sometimes = (
        "feel_deg_per_mps2",
        "braking_feel_deg_per_mps2",
        "start_jerk_mps3",
        "start_delay_s",
    )
    return ridden.metrics[..., [name not in sometimes for name in METRIC_NAMES]]


def courses() -> dict[str, Course]:
    """Return courses of a few seconds that together touch every part of the plant."""
    on = {
        "stand": (road(), manoeuvre(6.0, ((0.0, 0.0),), start=Start.STANDING)),
        "launch": (road(), manoeuvre(6.0, ((0.0, 0.0), (0.3, 5.0)), start=Start.STANDING)),
        "tail_down_uphill": (
            road(grade_percent=((-5.0, 15.0),)),
            manoeuvre(6.0, ((0.0, 0.0), (1.5, 0.0), (3.0, 2.0)), start=Start.TAIL_DOWN),
        ),
        "kerb": (road(kerbs=((6.0, 0.02),)), manoeuvre(6.0, ((0.0, 4.0),))),
        "cobbles": (road(COBBLES), manoeuvre(6.0, ((0.0, 4.5),))),
        "brake": (road(), manoeuvre(6.0, ((0.0, 7.0), (0.5, 7.0), (0.6, 0.0)))),
        "turn": (
            road(),
            manoeuvre(
                6.0,
                ((0.0, 6.0),),
                turn_deg_per_s=((0.0, 0.0), (0.5, 45.0), (4.0, 45.0), (5.0, 0.0)),
            ),
        ),
        "climb": (road(grade_percent=((0.0, 0.0), (6.0, 12.0))), manoeuvre(6.0, ((0.0, 4.0),))),
        "hot": (road(), manoeuvre(4.0, ((0.0, 4.0), (0.5, 6.0)), mosfet_c=84.0)),
        "descent": (
            road(grade_percent=((0.0, 0.0), (6.0, -15.0))),
            manoeuvre(6.0, ((0.0, 4.0),), charge_ratio=0.98, headwind_mps=((0.0, 0.0), (3.0, 5.0))),
        ),
        "overspeed": (road(), manoeuvre(8.0, ((0.0, 9.0), (4.0, 20.0)), ask_ratio=1.5)),
        "slippery": (
            road(surface(0.05, 0.05, 64.0)),
            manoeuvre(
                5.0,
                ((0.0, 3.0), (1.0, 6.0), (3.0, 0.0)),
                press_ratio=((0.0, 0.0), (4.0, 0.3), (5.0, 0.0)),
            ),
        ),
    }
    return {name: course(name, under, ridden) for name, (under, ridden) in on.items()}


def ride(along: Course, mass_kg: float = 80.0, *, noise_seed: int = 5) -> Ride:
    """Return a ride of one of the riders on the invented board."""
    return Ride(
        course=along,
        rider_name=f"{mass_kg:g}",
        rider=rider(mass_kg),
        board=invented.board(),
        noise_seed=noise_seed,
    )


def rides(names: tuple[str, ...] | None = None) -> list[Ride]:
    """Return every rider on the named courses, or on all."""
    chosen = courses()
    return [
        ride(chosen[name], mass_kg, noise_seed=seed)
        for seed, (name, mass_kg) in enumerate(
            (name, mass_kg) for name in (names or tuple(chosen)) for mass_kg in BODIES
        )
    ]
