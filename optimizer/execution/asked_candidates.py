"""What a run was asked for, which a resumed one goes on to."""

from dataclasses import dataclass

from optimizer.execution.reevaluation import front_to_reevaluate
from optimizer.execution.store import read_table
from optimizer.search.loop import whole_generations
from optimizer.study.paths import store_path
from optimizer.study.study import Study

ASKED = "candidates.asked"  # under these names a store keeps it
UNTIL_GAIN = "candidates.until_gain_percent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How far a run was asked to go.

    Attributes
    ----------
    n_candidates : int, optional
        In place of the study file's number.
    until_gain_percent : float, optional
        Less gained by the latest candidates ends the search before.
    """

    n_candidates: int | None = None
    until_gain_percent: float | None = None

    @property
    def texts(self) -> dict[str, str]:
        """What a store keeps of it."""
        found = {ASKED: self.n_candidates, UNTIL_GAIN: self.until_gain_percent}
        return {key: "" if value is None else repr(value) for key, value in found.items()}


NOTHING_ASKED = Asked()


def asked_before(study: Study) -> Asked:
    """Return what was asked of a run that has not come to its end; nothing where it has.

    Raises
    ------
    UserInputError
        Not a store, or damaged.
    """
    table = read_table(store_path(study.folder))
    number, until_gain = (table.frozen.get(key, "") for key in (ASKED, UNTIL_GAIN))
    n_candidates = int(number) if number else study.n_candidates
    if len(table.history) >= whole_generations(n_candidates, population=study.population):
        left = front_to_reevaluate(table.history, table.reevaluation).missing
        if not len(left):
            return NOTHING_ASKED
    return Asked(
        n_candidates=int(number) if number else None,
        until_gain_percent=float(until_gain) if until_gain else None,
    )
