"""How many threads a call uses."""

from optimizer.base.cores import n_cores


def n_threads(jobs: int | None) -> int:
    """Return the number of threads that is asked for; all cores for None."""
    return n_cores() if jobs is None else jobs
