"""How many candidates a run was asked for, which a resumed one goes on to."""

from optimizer.execution.reevaluation import front_to_reevaluate
from optimizer.execution.store import read_table
from optimizer.search.loop import whole_generations
from optimizer.study.paths import store_path
from optimizer.study.study import Study

ASKED = "candidates.asked"  # under this name a store keeps it


def asked_before(study: Study) -> int | None:
    """Return how many candidates a run was asked for that has not finished them.

    None where it was not asked for a number of its own, or has come to its end.

    Raises
    ------
    UserInputError
        Not a store, or damaged.
    """
    table = read_table(store_path(study.folder))
    asked = table.frozen.get(ASKED, "")
    if not asked:
        return None
    if len(table.history) < whole_generations(int(asked), population=study.population):
        return int(asked)
    unfinished = len(front_to_reevaluate(table.history, table.reevaluation).missing) > 0
    return int(asked) if unfinished else None
