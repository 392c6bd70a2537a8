"""Rides drawn at random from what a riding day holds, and the hard ones among them."""
