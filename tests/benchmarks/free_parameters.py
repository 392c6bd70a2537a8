"""Which searched parameters move anything: one at a time, to both ends of their bounds.

    python -m tests.benchmarks.free_parameters FOLDER [--draws 4]

From the baseline and the picks of a finished search, each searched parameter goes to either end of
its bounds, over the same rides on several draws of noise. Printed is, for each parameter and
number, the largest change over the profiles, in standard deviations of that number over the draws.
A parameter is free where no objective and no number of handling changes by more than `--beyond`.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from objectives.handling import HANDLING_NAMES, least_warning_s
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import ride_portfolio, rules_of, whole_profiles
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.reevaluation import with_noise
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study

NUMBERS = (
    *OBJECTIVES,
    *(f"{name}_{who}" for name in HANDLING_NAMES for who in ("lightest", "heaviest")),
    "least_warning_s",
    "rest_shake",
)
_LONG_WARNED_S = 20.0  # stands for a ride that does not end


def numbers_of(study, profiles, rules, *, n_jobs):
    """Return objectives and what is asked for of profiles, (profile, number)."""
    scores, rides = ride_portfolio(study, profiles, rules=rules, n_jobs=n_jobs)
    _, handling, _ = rules.parts(rides)
    asked = scores.handling[:, :, :2].reshape(len(profiles), -1)
    warned = np.minimum(least_warning_s(handling, rules.handling), _LONG_WARNED_S)
    shake = scores.constraints[:, CONSTRAINT_NAMES.index("rest_shake")]
    return np.column_stack([scores.objectives, asked, warned, shake])


def moved(values, low, high):
    """Return a profile's searched values, then each moved to either end, (1 + 2 parameter, ...)."""
    rows = np.tile(values, (1 + 2 * len(values), 1))
    for place in range(len(values)):
        rows[1 + 2 * place, place] = low[place]
        rows[2 + 2 * place, place] = high[place]
    return rows


def effects(study, starts, *, n_draws, n_jobs=1):
    """Return changes in standard deviations over draws, (start, parameter, number)."""
    rules = rules_of(study)
    space = study.space
    found = []
    for start in starts:
        profiles = whole_profiles(study, moved(start, space.low, space.high))
        # What no ride measures is 0, before and after; a ride that then ends early moves it.
        drawn = np.nan_to_num(
            [
                numbers_of(with_noise(study, "draw", str(draw)), profiles, rules, n_jobs=n_jobs)
                for draw in range(n_draws)
            ]
        )
        noise = np.std(drawn[:, 0], axis=0, ddof=1)
        change = np.mean(drawn[:, 1:] - drawn[:, :1], axis=0)
        ratio = np.abs(change) / np.maximum(noise, 1e-9 + 1e-3 * np.abs(drawn[:, 0].mean(axis=0)))
        found.append(np.max(ratio.reshape(len(start), 2, -1), axis=1))
    return np.stack(found)


def table_of(study, ratios):
    """Return one row for each parameter: its largest effect, and on which number."""
    most = np.max(ratios, axis=0)
    return pd.DataFrame(
        {
            "parameter": study.space.names,
            "largest_effect_sd": np.max(most, axis=1),
            "on": [NUMBERS[place] for place in np.argmax(most, axis=1)],
            **{name: most[:, place] for place, name in enumerate(OBJECTIVES)},
            "least_over_profiles_sd": np.max(ratios, axis=2).min(axis=0),
        }
    ).sort_values("largest_effect_sd")


def main():
    """Return the table as text."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--draws", type=int, default=4)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--beyond", type=float, default=2.0, help="standard deviations")
    args = parser.parse_args()
    study = with_hard_rides(load_study(args.folder))
    results = read_results(study)
    numbers = [BASELINE, *dict.fromkeys(results.picks.values())]
    starts = results.history.values[numbers]
    table = table_of(study, effects(study, starts, n_draws=args.draws, n_jobs=args.jobs))
    free = table.loc[table["largest_effect_sd"] < args.beyond, "parameter"]
    lines = table.to_string(index=False, float_format=lambda value: f"{value:.2f}")
    return f"{lines}\n\nFrom {len(starts)} profiles, free: {', '.join(free) or 'none'}\n"


if __name__ == "__main__":
    sys.stdout.write(main())
