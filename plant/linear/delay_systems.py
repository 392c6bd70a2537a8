"""Linear systems with one delayed feedback: their response with the delay exact, their poles.

The reflex of a rider is such a feedback. A delay has endlessly many poles; those that matter are
found with the delay as a Pade all-pass.
"""

import dataclasses
import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]

_PADE_ORDER = 5  # phase of the delay right within 1 deg up to 8 rad per delay


def first_order(
    mass: Floats, damping: Floats, stiffness: Floats, inputs: Floats
) -> tuple[Floats, Floats]:
    """Return A and B of mass q'' + damping q' + stiffness q = inputs u, state (q, q')."""
    n_coordinates = mass.shape[0]
    solved = np.linalg.solve(mass, np.hstack([-stiffness, -damping, inputs]))
    a = np.zeros((2 * n_coordinates, 2 * n_coordinates))
    a[:n_coordinates, n_coordinates:] = np.eye(n_coordinates)
    a[n_coordinates:] = solved[:, : 2 * n_coordinates]
    b = np.vstack([np.zeros_like(inputs), solved[:, 2 * n_coordinates :]])
    return a, b


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class DelayedSystem:
    """For each rider, x' = a x + a_delayed x(t - delay) + b u and y = c x + d u.

    Attributes
    ----------
    a, a_delayed : (rider, state, state) float64
        `a_delayed` feeds back into one state only.
    b : (rider, state) float64
    c : (rider, output, state) float64
    d : (rider, output) float64
    delay_s : (rider,) float64
    """

    a: Floats
    a_delayed: Floats
    b: Floats
    c: Floats
    d: Floats
    delay_s: Floats


def frequency_response(system: DelayedSystem, laplace_radps: Complexes) -> Complexes:
    """Return the outputs per input, with the delay exact.

    Parameters
    ----------
    laplace_radps : (frequency,) complex128
        Values of s; on the imaginary axis they are frequencies.

    Returns
    -------
    (rider, output, frequency) complex128
    """
    s = laplace_radps[None, :, None, None]
    identity = np.eye(system.a.shape[-1])
    lagging = np.exp(-laplace_radps * system.delay_s[:, None])[..., None, None]
    matrix = s * identity - system.a[:, None] - system.a_delayed[:, None] * lagging
    states = np.linalg.solve(matrix, system.b[:, None, :, None])[..., 0]
    outputs = np.einsum("ros,rfs->rof", system.c, states)
    return np.asarray(outputs + system.d[:, :, None])


def poles(system: DelayedSystem) -> tuple[Complexes, ...]:
    """Return the poles of each rider's system in rad/s, the delay as a Pade all-pass."""
    return tuple(
        np.linalg.eigvals(_pade_matrix(a, a_delayed, float(delay_s))).astype(np.complex128)
        for a, a_delayed, delay_s in zip(system.a, system.a_delayed, system.delay_s, strict=True)
    )


def _pade_matrix(a: Floats, a_delayed: Floats, delay_s: float) -> Floats:
    """Return the state matrix with the delayed feedback passed through a Pade all-pass."""
    if delay_s == 0.0:
        return a + a_delayed
    order = _PADE_ORDER
    weights = [
        math.factorial(2 * order - k) / (math.factorial(k) * math.factorial(order - k))
        for k in range(order + 1)
    ]
    denominator = np.array(weights) / weights[-1]
    numerator = denominator * (-1.0) ** np.arange(order + 1)
    through = numerator[-1]
    # Controllable canonical form in time counted in delays.
    companion = np.diag(np.ones(order - 1), 1)
    companion[-1] = -denominator[:-1]
    tap = numerator[:-1] - through * denominator[:-1]

    row = int(np.flatnonzero(np.any(a_delayed != 0.0, axis=1))[0]) if a_delayed.any() else 0
    feedback = a_delayed[row]
    n_states = a.shape[0]
    whole = np.zeros((n_states + order, n_states + order))
    whole[:n_states, :n_states] = a
    whole[row, :n_states] += through * feedback
    whole[row, n_states:] = tap
    whole[n_states:, n_states:] = companion / delay_s
    whole[-1, :n_states] = feedback / delay_s
    return whole
