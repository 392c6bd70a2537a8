"""Reading and checking a ride log."""
