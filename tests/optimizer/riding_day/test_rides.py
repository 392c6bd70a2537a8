"""Rides of a day drawn as columns are those drawn one by one, bit for bit."""

import dataclasses
import itertools

import numpy as np
import pytest

from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_columns, day_rides, rides_of_day
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from optimizer.study.tolerances import Shape, Tolerance
from plant.kernel.simulate import lay

STUDY = load_study(STUDIES_FOLDER / "hill_town")
NUMBERS = np.array([7, 2, 30])


def rows_of(laid):
    """Return the lanes at their start in the order of the rides, and all tables."""
    rows = np.full((len(laid), laid.groups[0].templates.shape[1]), np.nan)
    for group in laid.groups:
        rows[group.places] = group.templates
    return rows.tobytes(), [group.tables.road.tobytes() for group in laid.groups]


@pytest.mark.parametrize("name", ["hill_town", "motor_17"])
def test_columns_are_laid_as_the_rides_one_by_one(name):
    study = load_study(STUDIES_FOLDER / name)
    one_by_one = list(itertools.chain.from_iterable(day_rides(study, NUMBERS, seed=4)))

    columns = day_columns(study, NUMBERS, seed=4)

    assert len(columns) == len(one_by_one) == len(NUMBERS) * LANES_OF_A_COURSE
    assert columns.noise_seeds.tolist() == [ride.noise_seed for ride in one_by_one]
    assert rows_of(lay(columns, keep_roads=False)) == rows_of(lay(one_by_one, keep_roads=False))


def test_a_course_is_drawn_alike_with_others_and_alone():
    together, alone = (
        lay(day_columns(STUDY, numbers, seed=4)) for numbers in (NUMBERS, NUMBERS[-1:])
    )

    np.testing.assert_array_equal(together.groups[-1].templates, alone.groups[0].templates)
    np.testing.assert_array_equal(together.groups[-1].tables.road, alone.groups[0].tables.road)


def test_rides_at_places_come_in_the_order_asked():
    drawn = dict(zip(NUMBERS.tolist(), day_rides(STUDY, NUMBERS, seed=4), strict=True))
    places = [(30, 1), (7, 15), (30, 0), (30, 1)]

    assert rides_of_day(STUDY, places, seed=4) == [drawn[course][lane] for course, lane in places]


def test_a_drawn_board_that_contradicts_itself_is_refused():
    wide = Tolerance(name="throttle_start_c", percent=0.0, plus_minus=100.0, shape=Shape.UNIFORM)
    study = dataclasses.replace(STUDY, tolerances=(wide,))

    for draw in (day_columns, lambda *args, **kwargs: list(day_rides(*args, **kwargs))):
        with pytest.raises(ValueError, match="throttle_end_c must be above throttle_start_c"):
            draw(study, np.arange(4), seed=4)
