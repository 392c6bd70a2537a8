"""The numbers of scoring that a user may set."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Self

from objectives.handling import HANDLING_NAMES

_RANGES = {
    "tail_share": (0.01, 1.0),
    "tail_weight": (0.0, 1.0),
    "worst_rider_weight": (0.0, 1.0),
    "nose_down_share": (0.0, 1.0),
    "sensitivity_limit": (1.05, 100.0),
    "phase_margin_deg": (1.0, 120.0),
    "gain_margin_ratio": (1.01, 100.0),
    "rest_shake_limit_deg_per_s": (0.01, 1000.0),
    "feel_low_deg_per_mps2": (-20.0, 20.0),
    "feel_high_deg_per_mps2": (-20.0, 20.0),
    "rider_spread_limit": (1.0, 100.0),
    "more_warned_limit": (0.001, 1.0),
    "climb_speed_loss_limit": (0.001, 1.0),
    "least_warning_s": (0.0, 10.0),
    "noise_margin_ratio": (0.0, 0.5),
    "like_baseline_percent": (1.0, 1000.0),
}


# Common practice, no source: the nose rises as the board brakes; a dip of 8 deg leaves most noses
# clear of the ground; the lightest rider can press the tail down.
DEFAULT_HANDLING = {
    "braking_feel_deg_per_mps2": (0.0, math.inf),
    "grade_dip_deg": (-math.inf, 8.0),
    "tail_effort_ratio": (-math.inf, 0.9),
}


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class ScoreSettings:
    """The numbers a user may set.

    Attributes
    ----------
    tail_share : float
        Share of the ride weight that counts as the tail.
    tail_weight : float
        From 0, the plain mean over rides, to 1, the tail alone.
    worst_rider_weight : float
        From 0, the nose-down rate over all riders, to 1, the rate of the worst rider alone.
    nose_down_share : float
        Share of the ride weight that may end with the nose down.
    sensitivity_limit : float
        Largest Ms of the balance loop, for every rider (usual: 1.3 to 2, Astrom & Hagglund).
    phase_margin_deg : float
        Smallest phase margin (usual: 30 to 60).
    gain_margin_ratio : float
        Smallest factor, up or down, to the limit of stability; Ms 2 alone gives 1.5.
    rest_shake_limit_deg_per_s : float
        Largest RMS pitch rate of a standing ride, where limit cycles show.
    feel_low_deg_per_mps2, feel_high_deg_per_mps2 : float or None
        Ends of the wanted band of pitch per acceleration: above zero the nose dips as the board
        speeds up, below zero it rises, which is not allowed where nothing else is said. None does
        not ask for that end.
    rider_spread_limit : float or None
        Largest ratio of level error between lightest and heaviest rider; None does not ask.
    more_warned_limit : float or None
        Largest share of riding time, beyond the baseline's, in which a warning lifts the nose by
        what a rider perceives; None does not ask. A board that warns all the time draws little
        current, and nobody would ride it.
    climb_speed_loss_limit : float or None
        Largest share by which the study's climbs are ridden slower than by the baseline.
    least_warning_s : float or None
        Shortest warning before a ride ends for a rider who leans past what the motor can give. Its
        default lies above the 1 s that `validate` asks, on other noise.
    noise_margin_ratio : float
        How far inside the limit on shaking at rest a search stays, for other noise moves what it
        measures by a tenth; the re-evaluation asks the limit itself.
    like_baseline_percent : float or None
        How far each number of handling may differ from the baseline's.
    handling : mapping of number to (low, high)
        Bands for the lightest and the heaviest rider, in the order of
        `objectives.handling.HANDLING_NAMES`; inf for an end that is not asked.
    rider_difference : mapping of number to float
        Largest difference of a number between the lightest and the heaviest rider.

    Raises
    ------
    ValueError
        A number lies outside its range, or the ends of the feel band are in the wrong order.
    """

    tail_share: float = 0.2
    tail_weight: float = 0.5
    worst_rider_weight: float = 0.5
    nose_down_share: float = 0.0
    sensitivity_limit: float = 2.0
    phase_margin_deg: float = 30.0
    gain_margin_ratio: float = 1.5
    rest_shake_limit_deg_per_s: float = 3.0
    feel_low_deg_per_mps2: float | None = 0.0
    feel_high_deg_per_mps2: float | None = None
    rider_spread_limit: float | None = None
    more_warned_limit: float | None = 0.03
    climb_speed_loss_limit: float | None = 0.05
    least_warning_s: float | None = 1.1
    noise_margin_ratio: float = 0.15
    like_baseline_percent: float | None = None
    handling: Mapping[str, tuple[float, float]] = dataclasses.field(
        default_factory=lambda: dict(DEFAULT_HANDLING)
    )
    rider_difference: Mapping[str, float] = dataclasses.field(default_factory=dict)

    def without_noise_margin(self) -> Self:
        """Return the settings for rides on other noise than that of the search."""
        return dataclasses.replace(self, noise_margin_ratio=0.0)

    def __post_init__(self) -> None:
        for name, (least, most) in _RANGES.items():
            value = getattr(self, name)
            if value is not None and not least <= value <= most:
                raise ValueError(f"{name}: must be from {least:g} to {most:g}, got {value:g}")
        low, high = self.feel_low_deg_per_mps2, self.feel_high_deg_per_mps2
        if low is not None and high is not None and low >= high:
            raise ValueError(
                f"feel_low_deg_per_mps2: must be below feel_high_deg_per_mps2, got {low:g} and "
                f"{high:g}"
            )
        _check_handling(self.handling, self.rider_difference)


def _check_handling(
    bands: Mapping[str, tuple[float, float]], differences: Mapping[str, float]
) -> None:
    for key, asked in (("handling", bands), ("rider_difference", differences)):
        for name in asked:
            if name not in HANDLING_NAMES:
                raise ValueError(
                    f"{key}.{name}: must be one of {', '.join(HANDLING_NAMES)}, got {name!r}"
                )
    for name, (low, high) in bands.items():
        if not low < high:
            raise ValueError(f"handling.{name}: must be [low, high], got [{low:g}, {high:g}]")
    for name, most in differences.items():
        if not most > 0.0:
            raise ValueError(f"rider_difference.{name}: must be above 0, got {most:g}")
