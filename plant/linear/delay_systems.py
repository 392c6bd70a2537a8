"""Linear systems with one delayed feedback: their response with the delay exact, their poles.

The reflex of a rider is such a feedback. A delay has endlessly many poles; those that matter are
found with the delay as a Pade all-pass.
"""

import dataclasses
import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.compile import kernel

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]

_PADE_ORDER = 5  # phase of the delay right within 1 deg up to 8 rad per delay


def first_order(
    mass: Floats, damping: Floats, stiffness: Floats, inputs: Floats
) -> tuple[Floats, Floats]:
    """Return A and B of mass q'' + damping q' + stiffness q = inputs u, state (q, q')."""
    n_coordinates = mass.shape[0]
    [whole] = solved(mass[None], np.hstack([-stiffness, -damping, inputs])[None])
    moved = whole.real
    a = np.zeros((2 * n_coordinates, 2 * n_coordinates))
    a[:n_coordinates, n_coordinates:] = np.eye(n_coordinates)
    a[n_coordinates:] = moved[:, : 2 * n_coordinates]
    b = np.vstack([np.zeros_like(inputs), moved[:, 2 * n_coordinates :]])
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
    right = np.broadcast_to(system.b[:, None, :, None], (*matrix.shape[:-1], 1))
    n_states = matrix.shape[-1]
    states = solved(matrix.reshape(-1, n_states, n_states), right.reshape(-1, n_states, 1))
    by_rider = states.reshape(matrix.shape[0], 1, matrix.shape[1], n_states)
    outputs = (system.c[:, :, None, :] * by_rider).sum(axis=-1)
    return np.asarray(outputs + system.d[:, :, None])


def times(one: Complexes, other: Complexes) -> Complexes:
    """Return the product of complex numbers, four products of real ones each rounded.

    numpy's own rounds once or twice, by the processor.
    """
    real = one.real * other.real - one.imag * other.imag
    product = np.empty(real.shape, dtype=np.complex128)
    product.real, product.imag = real, one.real * other.imag + one.imag * other.real
    return product


def solved(matrix: Complexes | Floats, right: Complexes | Floats) -> Complexes:
    """Return the solutions of systems of equations, (system, row, column).

    By Gaussian elimination with partial pivoting; a linear algebra library's last bits depend on
    the processor.

    Parameters
    ----------
    matrix : (system, row, row) complex128 or float64
        Not singular.
    right : (system, row, column) complex128 or float64
    """
    whole = np.concatenate([matrix, right], axis=-1)
    real, imag = whole.real.astype(np.float64), whole.imag.astype(np.float64)
    _eliminate(real, imag)
    n_rows = matrix.shape[1]
    return real[:, :, n_rows:] + 1j * imag[:, :, n_rows:]


@kernel
def _eliminate(real: Floats, imag: Floats) -> None:
    """Turn the left part of each system into the unit matrix (Gauss and Jordan)."""
    n_systems, n, n_columns = real.shape
    for system in range(n_systems):
        re, im = real[system], imag[system]
        for k in range(n):
            best, largest = k, -1.0
            for i in range(k, n):
                size = re[i, k] * re[i, k] + im[i, k] * im[i, k]
                if size > largest:
                    best, largest = i, size
            x, y = re[best, k] / largest, -im[best, k] / largest
            for j in range(k, n_columns):
                a, b = re[best, j], im[best, j]
                re[best, j], im[best, j] = re[k, j], im[k, j]
                re[k, j], im[k, j] = a * x - b * y, a * y + b * x
            for i in range(n):
                x, y = re[i, k], im[i, k]
                if i != k and (x != 0.0 or y != 0.0):
                    for j in range(k, n_columns):
                        re[i, j] = re[i, j] - x * re[k, j] + y * im[k, j]
                        im[i, j] = im[i, j] - x * im[k, j] - y * re[k, j]


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
