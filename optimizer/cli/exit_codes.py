"""How a command ends when it does not end well.

Apart from `optimizer.cli.console`, whose libraries take long to load: mistakes answer at once.
"""

OUTPUT_LOST = 1  # a full disk behind standard output, as the usual tools end then
BAD_INPUT = 2
INTERRUPTED = 130  # by Ctrl-C
PIPE_CLOSED = 141  # the reader has enough, as `head` has: 128 + SIGPIPE, as shells say it
