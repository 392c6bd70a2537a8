"""Torque of a motor whose iron saturates: less for each ampere, the more amperes there are.

Torque over the torque constant is i - c i^3: the lowest even loss of flux with the q-axis current,
as cross-saturation takes it. The curve's slope falls to a quarter of the first at |i| = m, where
c m^2 = 1/4, and stays there: it never turns back.
"""

from plant.compile import scalar
from plant.physics.scalar_math import clip

LEAST_SLOPE_RATIO = 0.25  # assumed: what torque still gains from current in saturated iron
_LEAST_PER_SQUARE_A = 1e-18
_TORQUE_AT_END = 0.75  # m - c m^3 over m
# i over i - c i^3, by q = c (i - c i^3)^2 up to its end: within 0.16 %, fitted, exact at nothing.
_INVERSE = (1.0, 1.38947887, -27.7853393, 771.723035, -7405.44501, 26108.5925)


@scalar
def unsaturated(current: float, per_square_a: float, end_a: float) -> float:
    """Return the current in A that would make the same torque without saturation."""
    inside = clip(current, -end_a, end_a)
    lost = per_square_a * (inside * inside) * (3.0 * current - 2.0 * inside)
    return current - lost


@scalar
def saturated(linear: float, per_square_a: float, end_a: float) -> float:
    """Return the current in A that makes the torque of `linear` A without saturation.

    The inverse of `unsaturated`.
    """
    end = _TORQUE_AT_END * end_a
    inside = clip(linear, -end, end)
    q = per_square_a * (inside * inside)
    c0, c1, c2, c3, c4, c5 = _INVERSE
    more = c0 + q * (c1 + q * (c2 + q * (c3 + q * (c4 + q * c5))))
    return inside * more + (linear - inside) * (1.0 / LEAST_SLOPE_RATIO)


def saturation(ratio: float, current_a: float) -> tuple[float, float]:
    """Return `per_square_a` in 1/A^2 and `end_a` in A from a share of torque lost at a current.

    Parameters
    ----------
    ratio : float
        Of the torque without saturation, up to a quarter; 0 for none.
    current_a : float
        Above zero.
    """
    per_square_a = ratio / (current_a * current_a)
    slope_lost = 1.0 - LEAST_SLOPE_RATIO
    # With hardly any saturation the curve has no end that a ride could reach.
    return per_square_a, (slope_lost / (3.0 * max(per_square_a, _LEAST_PER_SQUARE_A))) ** 0.5
