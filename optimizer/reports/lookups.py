"""What of which candidates is kept, so that `show` and `export` answer at once."""

from pathlib import Path

import numpy as np

from optimizer.analysis.constraint_facts import CONSTRAINTS
from optimizer.analysis.kept_facts import keep_facts
from optimizer.analysis.nose_down_rates import RATES
from optimizer.analysis.results import Results, nearest_misses
from optimizer.reports.rider_limits import LIMITS
from optimizer.reports.warning_speeds import SPEED_UPS
from optimizer.search.evaluation import BASELINE


def keep_lookups(results: Results) -> Path:
    """Keep what takes the compiled model to find of candidates that are looked up; return the file.

    They are the front, the baseline and all that have a name.

    Raises
    ------
    UserInputError
        The file can not be written.
    """
    front = np.flatnonzero(results.on_front).tolist()
    named = [*results.picks.values(), *nearest_misses(results).values()]
    numbers = sorted({BASELINE, *front, *named})
    return keep_facts(results, (CONSTRAINTS, RATES, LIMITS, SPEED_UPS), numbers)
