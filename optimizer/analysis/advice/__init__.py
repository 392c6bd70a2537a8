"""The best few changes of a profile that is ridden today."""
