"""The constrained multi-objective search; knows no study."""
