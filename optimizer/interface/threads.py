"""How many threads a call uses."""

import joblib


def n_threads(jobs: int | None) -> int:
    """Return the number of threads that is asked for; all cores for None."""
    return int(joblib.cpu_count()) if jobs is None else jobs
