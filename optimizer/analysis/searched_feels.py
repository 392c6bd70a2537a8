"""How candidates of a search feel, from their rides: what a wanted feel is weighed by."""

import numpy as np

from objectives.handling import HANDLING_NAMES
from objectives.score import handling_of
from optimizer.analysis.baseline_cost import Feels
from optimizer.analysis.ridden_profile import ALL
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.search.evaluation import BASELINE
from optimizer.search.loop import Progress
from optimizer.study.study import Study
from plant.arrays import Floats

_FEEL = HANDLING_NAMES.index("feel_deg_per_mps2")


def feels_of(study: Study, profiles: Floats, rides: Floats) -> Floats:
    """Return the pitch per acceleration of profiles in deg per m/s2, (profile,).

    Parameters
    ----------
    study : Study
    profiles : (profile, parameter) float64
    rides : (profile, ride, column) float64
        Of all rides of the study; NaN where one was not ridden.

    Returns
    -------
    (profile,) float64
        NaN where the ride that measures it was not ridden.
    """
    rules = rules_of(study, hard=False)
    own, handling, _ = rules.parts(rides)
    feels: Floats = handling_of(own, handling, profiles, rules)[:, _FEEL, ALL]
    return feels


class FeelsSoFar:
    """The feels of a search that goes on, each worked out once from the stored rides.

    Parameters
    ----------
    study : Study
    """

    def __init__(self, study: Study) -> None:
        self._study = study
        self._known: Floats = np.empty(0)

    def at(self, now: Progress) -> Feels | None:
        """Return the feels of all finished candidates; None where no feel is weighed, or none is.

        Parameters
        ----------
        now : Progress
            Of the same search as before, no earlier.
        """
        if not self._study.feel_weight or not now.n_done:
            return None
        start = len(self._known)
        if start < now.n_done:
            profiles = whole_profiles(self._study, now.history.values[start:])
            latest = feels_of(self._study, profiles, now.rides(range(start, now.n_done)))
            self._known = np.concatenate([self._known, latest])
        return Feels(of=self._known, baseline=float(self._known[BASELINE]))
