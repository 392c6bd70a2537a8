"""Running a study: simulation of candidates, store, reuse, several machines."""
