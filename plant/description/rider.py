"""The rider: a body from mass and stature, and a balance reflex from skill."""

import dataclasses

from plant.description.quantity import check_sections, quantity

# Winter (Dempster) segments with Drillis & Contini heights, summed above the ankle.
COM_ABOVE_ANKLE_RATIO = 0.561
INERTIA_ABOUT_ANKLE_RATIO = 1.152  # J / (m h^2) of the same body about the ankle


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """Mass, stature and stance; `deck_height_m` is the ankle over the axle when standing."""

    mass_kg: float = quantity("mass with clothes and guards", 20.0, 160.0)
    stature_m: float = quantity("stature", 1.0, 2.2)
    stance_m: float = quantity("distance between the feet", 0.2, 0.9)
    deck_height_m: float = quantity("ankle over the axle, boots included", -0.1, 0.4)
    drag_area_m2: float = quantity("drag area, standing", 0.1, 1.5)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Skill:
    """Reflex and habits; moments are in units of m g h of the rider."""

    reflex_delay_s: float = quantity("delay of the balance reflex", 0.0, 0.24)
    reflex_lag_s: float = quantity("time constant of the muscles", 0.005, 0.5)
    lean_gain_ratio: float = quantity("foot moment per lean error, in m g h", 0.0, 3.0)
    lean_rate_gain_s: float = quantity("foot moment per lean rate, in m g h", 0.0, 1.5)
    leg_stiffness_ratio: float = quantity("leg moment per lean less pitch, in m g h", 0.0, 2.0)
    leg_damping_s: float = quantity("leg moment per its rate, in m g h", 0.0, 1.0)
    smoothing_s: float = quantity("time constant of a change of mind", 0.02, 2.0)
    accel_limit_mps2: float = quantity("hardest acceleration this rider asks", 0.2, 5.0)
    braking_limit_mps2: float = quantity("hardest braking this rider asks", 0.2, 6.0)
    foot_use_ratio: float = quantity("share of the half stance the feet can use", 0.2, 1.0)
    warning_heed_ratio: float = quantity("share of speed given up at a full warning", 0.0, 1.0)
    sway_ratio: float = quantity("unsteadiness of the foot moment, in m g h", 0.0, 0.2)
    step_off_lean_deg: float = quantity("lean at which the rider steps off", 10.0, 60.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Rider:
    """A body with a skill.

    Raises
    ------
    ValueError
        A number lies outside its range.
    """

    body: Body
    skill: Skill

    def __post_init__(self) -> None:
        check_sections(self)

    @property
    def com_above_ankle_m(self) -> float:
        """Height of the centre of mass over the ankles, about which the rider leans, in m."""
        return lever_and_inertia(self.body.mass_kg, self.body.stature_m)[0]

    @property
    def inertia_kg_m2(self) -> float:
        """Pitch inertia about the rider's own centre of mass, in kg m2."""
        return lever_and_inertia(self.body.mass_kg, self.body.stature_m)[1]


def lever_and_inertia(mass_kg: float, stature_m: float) -> tuple[float, float]:
    """Return `Rider.com_above_ankle_m` and `Rider.inertia_kg_m2` of a body."""
    lever_m = COM_ABOVE_ANKLE_RATIO * stature_m
    about_ankle = mass_kg * lever_m**2
    return lever_m, about_ankle * (INERTIA_ABOUT_ANKLE_RATIO - 1.0)
