"""Commands that are declared here and done elsewhere, so that help and mistakes answer at once.

What a command needs (the compiled kernel, tables, figures) takes seconds to load. A declaration
names the module that does the work; that module is loaded when the command is called.
"""

import functools
import sys
from collections.abc import Callable
from importlib import import_module
from types import ModuleType
from typing import Any, TypeVar

_Command = TypeVar("_Command", bound=Callable[..., Any])

_LOADING = "loading ..."


def done_by(module: str) -> Callable[[_Command], _Command]:
    """Return a decorator: the function of the same name in `module` does the command's work.

    Parameters
    ----------
    module : str
        Full name; its function takes the declared parameters by name, and has no defaults of
        its own.
    """

    def declared(command: _Command) -> _Command:
        @functools.wraps(command)
        def call(**given: Any) -> Any:
            return getattr(loaded(module), command.__name__)(**given)

        vars(call)["done_by"] = module
        return call  # type: ignore[return-value]

    return declared


def loaded(module: str) -> ModuleType:
    """Return a module, loaded if it is not yet; a terminal says so meanwhile."""
    if module in sys.modules or not (sys.stdout.isatty() and sys.stderr.isatty()):
        return import_module(module)
    sys.stderr.write(_LOADING)
    sys.stderr.flush()
    try:
        return import_module(module)
    finally:
        sys.stderr.write(f"\r{' ' * len(_LOADING)}\r")
        sys.stderr.flush()
