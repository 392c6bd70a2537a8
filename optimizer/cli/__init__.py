"""The command `levelgain`."""

from optimizer.cli.app import main

__all__ = ["main"]
