"""How many processor cores there are for this process."""

import importlib


def n_cores() -> int:
    """Return the number of cores that this process may use, limits of a container regarded."""
    return int(importlib.import_module("joblib").cpu_count())  # slow to load
