"""How a command ends when it does not end well.

Apart from `optimizer.cli.console`, whose libraries take long to load: mistakes answer at once.
"""

BAD_INPUT = 2
INTERRUPTED = 130  # by Ctrl-C
