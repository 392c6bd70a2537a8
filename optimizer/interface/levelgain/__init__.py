"""Choose the balance-controller profile of a self-balancing single-wheel board.

Installed as `levelgain`. See `help(levelgain.run)` and the section "In a notebook" of the README.
"""

from optimizer.study.load import load_study

__all__ = ["load_study"]
