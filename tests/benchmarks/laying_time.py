"""How long a course of the riding day takes before it is ridden: its drawing, and its laying.

`python -m tests.benchmarks.laying_time` takes batches of the example's day. On a busy machine the
least of many batches says most.
"""

import sys
import time

import numpy as np

from optimizer.riding_day.rides import LANES_OF_A_COURSE
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from optimizer.validation.nose_down_rate import COURSES_AT_ONCE, drawn_batch
from plant.kernel.simulate import lay

N_BATCHES = 8


def course_ms() -> tuple[list[float], list[float]]:
    """Return milliseconds of processor time to draw a course, and to lay it, of each batch."""
    study = load_study(STUDIES_FOLDER / "hill_town")
    lay(drawn_batch(study, np.arange(1))[0], keep_roads=False)  # loads what is compiled
    drawing, laying = [], []
    for batch in range(N_BATCHES):
        begin = time.process_time()
        rides, _ = drawn_batch(study, batch * COURSES_AT_ONCE + np.arange(COURSES_AT_ONCE))
        drawn = time.process_time()
        lay(rides, keep_roads=False)
        drawing.append(1000.0 * (drawn - begin) / COURSES_AT_ONCE)
        laying.append(1000.0 * (time.process_time() - drawn) / COURSES_AT_ONCE)
    return drawing, laying


def main() -> None:
    """Run the command."""
    for name, found in zip(("drawn", "laid"), course_ms(), strict=True):
        sys.stdout.write(
            f"{name} in {min(found):.2f} ms, or {np.median(found):.2f} in the median: a course of"
            f" {LANES_OF_A_COURSE} lanes\n"
        )


if __name__ == "__main__":
    main()
