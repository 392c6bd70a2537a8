"""`python -m optimizer.cli`: the command `levelgain`."""

from optimizer.cli import main

main()
