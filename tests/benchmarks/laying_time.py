"""How long a course of the riding day takes before it is ridden: its drawing, and its laying.

`python -m tests.benchmarks.laying_time` takes the example's day. On a busy machine the least of
many courses says most.
"""

import sys
import time
from collections.abc import Callable

import numpy as np

from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_rides
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from plant.kernel.simulate import Ride, lay

N_COURSES = 200


def course_ms() -> tuple[list[float], list[float]]:
    """Return milliseconds of processor time to draw each course, and to lay it with its lanes."""
    study = load_study(STUDIES_FOLDER / "hill_town")
    courses = day_rides(study, np.arange(N_COURSES + 1), seed=7)
    lay(next(courses), keep_roads=False)  # loads what is compiled
    drawing, laying = [], []
    for _ in range(N_COURSES):
        rides: list[Ride] = []
        drawing.append(_ms(lambda drawn=rides: drawn.extend(next(courses))))
        laying.append(_ms(lambda drawn=rides: lay(drawn, keep_roads=False)))
    return drawing, laying


def _ms(act: Callable[[], object]) -> float:
    begin = time.process_time()
    act()
    return 1000.0 * (time.process_time() - begin)


def main() -> None:
    """Run the command."""
    for name, found in zip(("drawn", "laid"), course_ms(), strict=True):
        sys.stdout.write(
            f"{name} in {min(found):.2f} ms, or {np.median(found):.2f} in the median: a course of"
            f" {LANES_OF_A_COURSE} lanes\n"
        )


if __name__ == "__main__":
    main()
