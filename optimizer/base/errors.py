"""The one error type for what a user gave us."""


class UserInputError(ValueError):
    """One line for the user: which file, which key, what was found, what is allowed, what to do.

    The command line prints the message and exits with code 2, without a traceback.
    """
