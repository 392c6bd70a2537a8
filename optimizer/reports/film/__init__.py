"""Rides to look at: board, rider and road from the side, over time."""
