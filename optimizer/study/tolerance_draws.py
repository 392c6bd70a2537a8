"""Draws from the spreads of several numbers at once, and boards and riders of such draws."""

import dataclasses
from collections.abc import Sequence

import numpy as np

from optimizer.base.hashing import spawned
from optimizer.base.sobol import scrambled_sobol
from optimizer.study.balance_variants import variant_on
from optimizer.study.study import Study
from optimizer.study.tolerances import Shape, Tolerance, each_moved
from plant.arrays import Floats
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.simulate import Ride


def draws(tolerances: Sequence[Tolerance], n_draws: int, *, seed: int) -> Floats:
    """Return draws between the ends of every tolerance, (draw, tolerance), from -1 to 1.

    Sobol points, scrambled by the seed: they fill the box more evenly than independent draws.
    A normal spread reaches 1.5 at its cut-off.

    Parameters
    ----------
    tolerances : sequence of Tolerance
    n_draws : int
        A power of two keeps the points balanced.
    seed : int
    """
    from scipy.special import ndtri  # noqa: PLC0415  # slow to load

    if not tolerances:
        return np.zeros((n_draws, 0))
    points = scrambled_sobol(len(tolerances), np.random.default_rng(seed))
    unit = points(2 ** max(int(np.ceil(np.log2(n_draws))), 0))[:n_draws]
    normal = np.clip(ndtri(np.clip(unit, 1e-12, 1.0 - 1e-12)), -3.0, 3.0) / 2.0
    is_normal = np.array([tolerance.shape is Shape.NORMAL for tolerance in tolerances])
    return np.where(is_normal, normal, 2.0 * unit - 1.0)


def study_draws(study: Study, n_draws: int, *drawn_for: str) -> Floats:
    """Return the `draws` of a study's tolerances, (draw, tolerance); see `drawn_rides`."""
    return draws(study.tolerances, n_draws, seed=spawned(study.seed, *drawn_for, "tolerances"))


def drawn_rides(study: Study, n_draws: int, *drawn_for: str) -> list[Ride]:
    """Return the study's own rides with every draw of board and riders, draw by draw.

    From draw to draw a ride is by another variant of its rider.

    Parameters
    ----------
    study : Study
    n_draws : int
        A power of two keeps the draws balanced.
    drawn_for : str
        What they are for: draws and noise of other purposes are others.
    """
    rides = []
    drawn = drawn_boards(study, n_draws, *drawn_for)
    for number, (board, riders) in enumerate(drawn):
        for ride in study.rides:
            name = ride.rider_name
            rider = variant_on(ride.course.name, name, riders[name], turn=number)
            seed = spawned(study.seed, *drawn_for, "draw", str(number), ride.name)
            rides.append(dataclasses.replace(ride, board=board, rider=rider, noise_seed=seed))
    return rides


def drawn_boards(
    study: Study, n_draws: int, *drawn_for: str
) -> list[tuple[Board, dict[str, tuple[Rider, ...]]]]:
    """Return board, and each rider in all variants, of every draw of the tolerances."""
    drawn = study_draws(study, n_draws, *drawn_for)
    boards = each_moved(study.board, study.tolerances, drawn)
    riders: list[dict[str, tuple[Rider, ...]]] = [{} for _ in boards]
    for name, variants in study.riders_in_variants.items():
        moved = [each_moved(rider, study.tolerances, drawn) for rider in variants]
        for of_draw, own in zip(riders, zip(*moved, strict=True), strict=True):
            of_draw[name] = own
    return list(zip(boards, riders, strict=True))
