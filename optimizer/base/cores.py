"""How many processor cores there are for this process."""


def n_cores() -> int:
    """Return the number of cores that this process may use, limits of a container regarded."""
    import joblib  # noqa: PLC0415  # slow to load

    return int(joblib.cpu_count())
