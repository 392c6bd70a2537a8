"""Two or more profiles over the same rides: what differs, and where it shows."""

import dataclasses
from collections.abc import Sequence

import numpy as np
import pandas as pd

from objectives import OBJECTIVES, RIDE_COLUMNS, RIDE_COSTS
from optimizer.analysis.constraint_facts import broken, constraint_facts
from optimizer.analysis.handling_tables import handling_of_profiles
from optimizer.analysis.nose_down_rates import rates_of_profiles
from optimizer.base.printable import one_line
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.outcomes import Outcome

# Numbers of a ride that are reported in words: metric, what to call it, and unit.
_REPORTED = (
    ("nose_dip_deg", "nose dip", "°"),
    ("peak_current_a", "peak current", " A"),
    ("least_reserve_percent", "torque reserve", " %"),
    ("level_error_deg", "level error", "°"),
)
_DRAWN = 2  # rides that a profile wins, and that it loses
_MOST_DRAWN = 4  # in all
_SHOWN_SHARE = 0.03  # a smaller change of a number is not reported


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """Profiles ridden over the rides of a study; the first is what the others are compared with.

    Attributes
    ----------
    study : Study
    names : tuple of str
        What to call each profile.
    profiles : (profile, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    objectives : (profile, objective) float64
    constraints : (profile, constraint) float64
    rides : (profile, ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`.
    hard : (profile, hard ride, column) float64
        The same of the hard rides.
    handling : (profile, number, rider) float64
        See `objectives.handling.handling_numbers`.
    fails : tuple of list of str
        What each profile fails, in words.
    """

    study: Study
    names: tuple[str, ...]
    profiles: Floats
    objectives: Floats
    constraints: Floats
    rides: Floats
    hard: Floats
    handling: Floats
    fails: tuple[list[str], ...]

    def column(self, name: str) -> Floats:
        """Return one metric of every ride, (profile, ride)."""
        if name == "nose_dip_deg":
            contact = self.study.board.frame.nose_contact_deg
            return (1.0 - self.column("least_nose_margin_ratio")) * contact
        if name == "least_reserve_percent":
            return 100.0 * self.column("least_reserve_ratio")
        column: Floats = self.rides[:, :, RIDE_COLUMNS.index(name)]
        return column

    @property
    def scores(self) -> pd.DataFrame:
        """Objectives of each profile and in words what it fails, one row each."""
        failed = ["; ".join(found) or "none" for found in self.fails]
        columns = dict(zip(OBJECTIVES, self.objectives.T, strict=True))
        return pd.DataFrame({"profile": self.names, **columns, "fails": failed})

    @property
    def nose_down_rates(self) -> pd.DataFrame:
        """Nose-down rates of each profile over all riders and for each, one row a profile."""
        return pd.DataFrame(rates_of_profiles(self.study, self.names, self.hard))

    @property
    def handling_table(self) -> pd.DataFrame:
        """How each profile handles, for the lightest and the heaviest rider, a row each."""
        return pd.DataFrame(handling_of_profiles(self.names, self.handling))

    @property
    def differences(self) -> pd.DataFrame:
        """The parameters in which the profiles differ, one row each and a column a profile."""
        names = differing(self)
        places = [PROFILE_NAMES.index(name) for name in names]
        columns = {
            called: row[places] for called, row in zip(self.names, self.profiles, strict=True)
        }
        return pd.DataFrame({"parameter": names, **columns})


def compared(
    study: Study, names: Sequence[str], profiles: Floats, *, n_jobs: int = 1
) -> Comparison:
    """Ride profiles over all rides of a study, on the noise of its re-evaluation.

    The search met other noise, by which its candidates were chosen. So a candidate of the front has
    the numbers here that it has elsewhere.

    Parameters
    ----------
    study : Study
    names : sequence of str
        What to call each profile.
    profiles : (profile, parameter) float64
    n_jobs : int
        Threads; the outcome does not depend on it.
    """
    study = on_fresh_noise(with_hard_rides(study, n_jobs=n_jobs))
    rules = rules_of(study)
    scores, rides = ride_portfolio(study, profiles, rules=rules, n_jobs=n_jobs)
    own, measuring, hard = rules.parts(rides)
    fails = [
        broken(constraint_facts(study, *ridden, constraints=constraints, rules=rules))
        for *ridden, constraints in zip(profiles, own, measuring, scores.constraints, strict=True)
    ]
    return Comparison(
        study=study,
        names=tuple(names),
        profiles=profiles,
        objectives=scores.objectives,
        constraints=scores.constraints,
        rides=own,
        hard=hard,
        handling=scores.handling,
        fails=tuple(fails),
    )


def differing(comparison: Comparison) -> list[str]:
    """Return the parameters in which the profiles differ, in the profile's order."""
    spread = np.ptp(comparison.profiles, axis=0)
    return [name for name, width in zip(PROFILE_NAMES, spread, strict=True) if width > 0.0]


def changed_rides(comparison: Comparison, which: int, *, limit: int) -> tuple[list[int], list[int]]:
    """Return the rides that another profile wins and loses most, the most first.

    By the change of the ride's nearness to a nose-down, level error and current, each in units of
    what the first profile has on average.

    Parameters
    ----------
    comparison : Comparison
    which : int
        The other profile, from 1 up.
    limit : int
        At most so many of each.
    """
    change = np.zeros(len(comparison.study.rides))
    for name in RIDE_COSTS:
        values = comparison.column(name)
        unit = max(float(np.nanmean(np.abs(values[0]))), 1e-9)
        change += np.nan_to_num((values[which] - values[0]) / unit)
    order = np.argsort(change, kind="stable")
    wins = [int(place) for place in order[:limit] if change[place] < 0.0]
    losses = [int(place) for place in order[::-1][:limit] if change[place] > 0.0]
    return wins, losses


def most_changed(comparison: Comparison) -> list[int]:
    """Return the rides worth drawing: the two that each other profile wins and loses most."""
    found: list[int] = []
    for which in range(1, len(comparison.names)):
        for rides in changed_rides(comparison, which, limit=_DRAWN):
            found += [ride for ride in rides if ride not in found]
    return found[:_MOST_DRAWN]


def in_words(comparison: Comparison, which: int, ride: int) -> str:
    """Return what another profile changes on a ride, with numbers before and after."""
    there = comparison.study.rides[ride]
    parts = []
    outcome = comparison.column("outcome")[:, ride].astype(int)
    if outcome[0] != outcome[which]:
        parts.append(f"{Outcome(outcome[0]).message} → {Outcome(outcome[which]).message}")
    for name, word, unit in _REPORTED:
        values = comparison.column(name)[:, ride]
        before, after = float(values[0]), float(values[which])
        if np.isfinite(before + after) and abs(after - before) > _SHOWN_SHARE * abs(before):
            parts.append(f"{word} {before:.3g} → {after:.3g}{unit}")
    mass = there.rider.body.mass_kg
    changes = ", ".join(parts) if parts else "no number that changes by more than 3 %"
    return f"{there.rider_name} ({mass:.0f} kg), {one_line(there.course.title)}: {changes}"
