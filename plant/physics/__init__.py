"""Physics and control law of one lane, as small functions of numbers."""
