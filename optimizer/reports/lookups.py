"""Which facts of which candidates are kept, so that `show` and `export` answer at once."""

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

    What `show` says is kept of the whole front, with the baseline and all that has a name. What a
    plan of first rides says takes rides, and is kept of those with a name.

    Raises
    ------
    UserInputError
        The file can not be written.
    """
    named = {BASELINE, *results.picks.values(), *nearest_misses(results).values()}
    shown = sorted(named | set(np.flatnonzero(results.on_front).tolist()))
    ridden = sorted(named)
    return keep_facts(
        results, {CONSTRAINTS: shown, RATES: shown, LIMITS: ridden, SPEED_UPS: ridden}
    )
