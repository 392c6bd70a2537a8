"""Proving one profile on rides it was not tuned on."""
