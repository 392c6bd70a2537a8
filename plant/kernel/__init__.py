"""The compiled kernel that rides blocks of lanes, and the door to it."""
