"""From a log of a real ride to a fitted board, a study, and a comparison with the plant."""
