"""A balance controller of an invented board, written straight from what its settings mean."""

import math

from tests.reference.logged_truth import Truth

_FILTER_S = 0.1  # of current and speed before they are compared
_LIFT_S = 0.15
_FULL_BRAKING_DEG, _FULL_BRAKING_MPS = 0.3, 0.5
_OVERRIDE_MPS2 = 1.0


class Controller:
    """From attitude, rate, speed and turning to current, step by step."""

    def __init__(self, truth: Truth, *, step_s: float, limit_a: float, speed_mps: float) -> None:
        self._truth, self._step_s, self._limit_a = truth, step_s, limit_a
        self._share = 1.0 - math.exp(-step_s / _FILTER_S)
        self._lift_share = 1.0 - math.exp(-step_s / _LIFT_S)
        self._turn_share = 1.0 - math.exp(-step_s / truth.turn_build_up_s)
        self._current = self._shift = self._integral = self._lag_1 = self._lag_2 = 0.0
        self._speed, self._lift, self._given = speed_mps, 1.0, 0.0

    def _answer_to_load(self, speed: float) -> tuple[float, float]:
        """Advance the load response and return the wanted pitch and the downhill residual."""
        truth = self._truth
        self._current += (self._given - self._current) * self._share
        self._speed += (speed - self._speed) * self._share
        lacking = self._current / truth.load_expected_a_per_mps2 - (speed - self._speed) / _FILTER_S
        beyond = max(abs(lacking) - truth.load_deadband_mps2, 0.0)
        uphill, downhill = (beyond, 0.0) if lacking > 0.0 else (0.0, beyond)
        wanted = (
            truth.downhill_gain_deg_per_mps2 * downhill - truth.uphill_gain_deg_per_mps2 * uphill
        )
        away = wanted * self._shift >= 0.0 and abs(wanted) > abs(self._shift)
        most = self._step_s * (truth.load_rise_deg_per_s if away else truth.load_fall_deg_per_s)
        self._shift += min(max(wanted - self._shift, -most), most)
        firmer = min(1.0 + truth.stiffness_lift_per_mps2 * beyond, 2.5)
        self._lift += (firmer - self._lift) * self._lift_share
        return self._shift, downhill

    def _curve(self, error_deg: float) -> float:
        truth, size = self._truth, abs(error_deg)
        near = min(size, truth.inner_band_deg)
        far = max(size - truth.inner_band_deg, 0.0)
        return math.copysign(
            truth.inner_gain_a_per_deg * near + truth.base_gain_a_per_deg * far, error_deg
        )

    def current(
        self, *, attitude_deg: float, rate_deg_per_s: float, speed_mps: float, lateral_mps2: float
    ) -> float:
        """Return the current in A, and remember what the next step needs."""
        truth = self._truth
        shift, downhill = self._answer_to_load(speed_mps)
        self._lag_2 += (self._lag_1 - self._lag_2) * self._turn_share
        self._lag_1 += (abs(lateral_mps2) - self._lag_1) * self._turn_share
        error = attitude_deg - shift + truth.turn_gain_deg_per_mps2 * self._lag_2
        against = -min(max(error / _FULL_BRAKING_DEG, -1.0), 1.0)
        braking = max(against * min(max(speed_mps / _FULL_BRAKING_MPS, -1.0), 1.0), 0.0)
        hard = min(downhill / _OVERRIDE_MPS2, 1.0)

        def softened(ratio: float) -> float:
            ratio = ratio + (1.0 - ratio) * hard if ratio < 1.0 else ratio
            return 1.0 + (ratio - 1.0) * braking

        asked = (
            self._curve(error) * self._lift * softened(truth.braking_stiffness_ratio)
            + truth.rate_gain_a_per_deg_per_s
            * rate_deg_per_s
            * softened(truth.braking_damping_ratio)
            + self._integral
        )
        self._given = min(max(asked, -self._limit_a), self._limit_a)
        if error * (asked - self._given) <= 0.0:
            clamp = truth.integral_clamp_a
            grown = self._integral + truth.integral_gain_a_per_deg_s * error * self._step_s
            self._integral = min(max(grown, -clamp), clamp)
        return self._given
