"""The most that may be asked of a study, in its file, a call or a command."""

MOST_CANDIDATES = 10_000_000
MOST_MINUTES = 100_000.0  # of a search: ten weeks
FEWEST_SEEDS, MOST_SEEDS = 2, 100
FEWEST_HOURS, MOST_HOURS = 0.1, 1e6  # of the riding day
