"""Names for the parameters of optuna's own test cases."""

from types import LambdaType


def pytest_make_parametrize_id(config, val, argname):
    """Return a name for an unnamed function, by its line; all others keep theirs."""
    if isinstance(val, LambdaType) and val.__name__ == "<lambda>":
        return f"{argname}-{val.__code__.co_firstlineno}"
    return None
