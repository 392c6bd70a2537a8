"""What notebooks, scripts and commands call: a study from its file to a proven profile."""
