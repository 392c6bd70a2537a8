"""Terms of a control law beyond pitch and rate, with the settings that a ride may determine."""

import dataclasses

from optimizer.ridelog.fits.controller_law import LOAD_EXPECTED
from optimizer.ridelog.fits.robust_fit import Unknown


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One term of the control law.

    Attributes
    ----------
    text : str
    needs : tuple of str
        Channels.
    size : tuple of Unknown
        Settings that the log determines even where the term is absent.
    shape : tuple of Unknown
        Settings that it determines where the term is present.
    """

    text: str
    needs: tuple[str, ...]
    size: tuple[Unknown, ...]
    shape: tuple[Unknown, ...] = ()


QUICK = (
    Unknown(name="rate_gain_a_per_deg_per_s", start=0.5, low=-1.0, high=6.0),
    Unknown(name="level_deg", start=0.05, low=-10.0, high=10.0),
    Unknown(name="inner_gain_a_per_deg", start=6.0, low=0.0, high=60.0),
    Unknown(name="inner_band_deg", start=1.0, low=0.05, high=5.0),
    Unknown(name="base_gain_a_per_deg", start=4.0, low=0.0, high=60.0),
)
LOAD = Term(
    text="load response",
    needs=("speed_mps",),
    size=(
        Unknown(name="uphill_gain_deg_per_mps2", start=0.5, low=-2.0, high=10.0),
        Unknown(name="downhill_gain_deg_per_mps2", start=0.5, low=-2.0, high=10.0),
        Unknown(name="stiffness_lift_per_mps2", start=0.1, low=-0.5, high=2.0),
    ),
    shape=(
        Unknown(name=LOAD_EXPECTED, start=20.0, low=2.0, high=80.0),
        Unknown(name="load_deadband_mps2", start=0.2, low=0.0, high=5.0),
        Unknown(name="load_rise_deg_per_s", start=10.0, low=0.1, high=60.0),
        Unknown(name="load_fall_deg_per_s", start=10.0, low=0.1, high=60.0),
    ),
)
TERMS = (
    LOAD,
    Term(
        text="turn response",
        needs=("speed_mps", "yaw_rate_rad_per_s"),
        size=(Unknown(name="turn_gain_deg_per_mps2", start=0.2, low=-2.0, high=6.0),),
        shape=(Unknown(name="turn_build_up_s", start=0.4, low=0.02, high=3.0),),
    ),
    Term(
        text="integral",
        needs=(),
        size=(Unknown(name="integral_gain_a_per_deg_s", start=0.5, low=-5.0, high=60.0),),
        shape=(
            Unknown(name="integral_start_a", start=0.1, low=-30.0, high=30.0),
            Unknown(name="integral_clamp_a", start=20.0, low=0.0, high=150.0),
        ),
    ),
    Term(
        text="braking",
        needs=("speed_mps",),
        size=(
            Unknown(name="braking_stiffness_ratio", start=0.95, low=0.1, high=3.0),
            Unknown(name="braking_damping_ratio", start=0.95, low=0.1, high=3.0),
        ),
    ),
)
KNEE = Term(
    text="knee in the stiffness",
    needs=(),
    size=(),
    shape=(
        Unknown(name="mid_knee_deg", start=5.0, low=0.5, high=20.0),
        Unknown(name="mid_gain_ratio", start=1.3, low=0.2, high=6.0),
    ),
)
# Where a second search starts: settings of a firm board with all terms.
FIRM = {
    "inner_gain_a_per_deg": 9.0,
    "base_gain_a_per_deg": 5.0,
    "rate_gain_a_per_deg_per_s": 0.7,
    "uphill_gain_deg_per_mps2": 1.5,
    "downhill_gain_deg_per_mps2": 1.5,
    "stiffness_lift_per_mps2": 0.3,
    "load_deadband_mps2": 0.4,
    "integral_gain_a_per_deg_s": 2.0,
    "braking_stiffness_ratio": 0.8,
    "braking_damping_ratio": 0.8,
}
