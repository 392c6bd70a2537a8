"""The same ride linearised: the loop and its margins."""
