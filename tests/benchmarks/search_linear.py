"""Linear plants with quadratic cost, whose best state feedback a Riccati equation gives.

The gains are the parameters and the cost's terms the objectives, each in units of the lowest
weighted cost, so that they add up to 1 at the optimum and to more everywhere else.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import expm, solve_discrete_are, solve_discrete_lyapunov

from optimizer.search.evaluation import Evaluation
from optimizer.search.space import Space
from plant.arrays import Floats

MOST_COST = 100.0  # optimal costs; what is unstable or dearer in one term counts as this


@dataclass(frozen=True, kw_only=True, eq=False)
class LinearPlant:
    """x' = A x + B u under u = -K x, started from every unit state in turn.

    Parameters
    ----------
    a, b : (state, state), (state, input) float64
        One sampling step.
    terms : (term, state) float64
        State weights of each objective; the last objective is the inputs' own.
    effort : float
        Weight of the squared inputs.
    gain_low, gain_high : (gain,) float64
        Bounds of K, row by row.
    """

    a: Floats
    b: Floats
    terms: Floats
    effort: float
    gain_low: Floats
    gain_high: Floats

    @property
    def space(self) -> Space:
        """The gains as searched parameters."""
        names = tuple(f"gain_{place}" for place in range(self.b.size))
        return Space(names=names, low=self.gain_low, high=self.gain_high)

    @cached_property
    def optimum(self) -> tuple[Floats, float]:
        """Return the best gains, (input, state), and their cost, by the Riccati equation."""
        weight = self.effort * np.eye(self.b.shape[1])
        value = solve_discrete_are(self.a, self.b, np.diag(self.terms.sum(axis=0)), weight)
        gains = np.linalg.solve(weight + self.b.T @ value @ self.b, self.b.T @ value @ self.a)
        return gains, float(np.trace(value))

    def evaluate(self, values: Floats, /) -> Evaluation:
        """Return the terms of each row's cost; a loop that is not stable violates a constraint."""
        terms, radii = zip(*(self._terms(row.reshape(self.b.T.shape)) for row in values),
                           strict=True)  # fmt: skip
        return Evaluation(
            objectives=np.minimum(np.array(terms) / self.optimum[1], MOST_COST),
            constraints=np.array(radii)[:, None] - 1.0,
            rides=np.empty((len(values), 0, 0)),
        )

    def _terms(self, gains: Floats) -> tuple[Floats, float]:
        loop = self.a - self.b @ gains
        radius = float(np.abs(np.linalg.eigvals(loop)).max())
        if radius >= 1.0:
            return np.full(len(self.terms) + 1, np.inf), radius
        # Summed over all steps and all unit starts: X = sum of loop^k loop^kT.
        reached = solve_discrete_lyapunov(loop, np.eye(len(loop)), method="direct")
        states = self.terms @ np.diag(reached)
        return np.append(states, self.effort * np.trace(gains @ reached @ gains.T)), radius


def _sampled(a: Floats, b: Floats, dt_s: float) -> tuple[Floats, Floats]:
    """Return the step of a plant whose inputs are held over it, by one matrix exponential."""
    n_states, n_inputs = b.shape
    both = np.zeros((n_states + n_inputs,) * 2)
    both[:n_states] = np.hstack([a, b])
    step = expm(both * dt_s)
    return step[:n_states, :n_states], step[:n_states, n_states:]


def pendulum() -> LinearPlant:
    """Return the inverted pendulum on a cart of the University of Michigan's control tutorials.

    Their example weighs the cart's place by 5000 and the angle by 100 at a sampling time of 10 ms
    and finds K = [-61.9933 -33.5040 95.0597 18.8300].
    """
    cart, bob, friction, inertia, arm, gravity = 0.5, 0.2, 0.1, 0.006, 0.3, 9.8
    shared = inertia * (cart + bob) + cart * bob * arm**2
    turned = inertia + bob * arm**2
    a = np.zeros((4, 4))
    a[0, 1] = a[2, 3] = 1.0
    a[1, 1:3] = -turned * friction / shared, bob**2 * gravity * arm**2 / shared
    a[3, 1:3] = -bob * arm * friction / shared, bob * gravity * arm * (cart + bob) / shared
    b = np.array([[0.0], [turned / shared], [0.0], [bob * arm / shared]])
    step_a, step_b = _sampled(a, b, 0.01)
    return LinearPlant(
        a=step_a,
        b=step_b,
        terms=np.diag([5000.0, 0.0, 100.0, 0.0])[[0, 2]],
        effort=1.0,
        gain_low=np.array([-150.0, -100.0, 0.0, 0.0]),
        gain_high=np.array([0.0, 0.0, 250.0, 60.0]),
    )


PENDULUM_BASELINE = np.array(
    [-0.9384, -1.5656, 18.0351, 3.3368]
)  # their example of weights 1 and 1


def chain() -> LinearPlant:
    """Return four unit masses between springs of stiffness 1, pushed at the first three.

    As many gains as a profile has parameters, 24, on a plant that is stable by itself; invented.
    """
    n_masses, n_inputs = 4, 3
    stiffness = 2.0 * np.eye(n_masses) - np.eye(n_masses, k=1) - np.eye(n_masses, k=-1)
    nothing, one = np.zeros((n_masses, n_masses)), np.eye(n_masses)
    a = np.block([[nothing, one], [-stiffness, -0.1 * one]])
    b = np.vstack([np.zeros((n_masses, n_inputs)), one[:, :n_inputs]])
    step_a, step_b = _sampled(a, b, 0.1)
    places = np.repeat([1.0, 0.0], n_masses)
    return LinearPlant(
        a=step_a,
        b=step_b,
        terms=np.array([10.0 * places, 1.0 - places]),
        effort=1.0,
        gain_low=np.full(n_inputs * 2 * n_masses, -5.0),
        gain_high=np.full(n_inputs * 2 * n_masses, 5.0),
    )
