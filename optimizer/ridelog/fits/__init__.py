"""Numbers of board and controller, fitted to a ride log."""
