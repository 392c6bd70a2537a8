"""What the named picks from a front are called."""

# In the objectives' order in every array of a study: the pick that is best in each alone.
PICK_OF_OBJECTIVE = ("calmest_level", "lowest_current", "fewest_nose_downs")
# What the candidates nearest to feasible are called, the nearest first, where none is.
NEAREST = tuple(f"nearest_{place}" for place in range(1, 6))
PICKS = ("balanced", *PICK_OF_OBJECTIVE, "lowest_cost")
BASELINE_NAME = "baseline"  # where a command takes any profile
