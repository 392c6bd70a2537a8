"""How a command ends when it does not end well."""

BAD_INPUT = 2
INTERRUPTED = 130  # by Ctrl-C
