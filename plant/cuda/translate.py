"""From the Python functions of a lane to C++ functions of the same arithmetic.

The walk begins at one function and takes in what it calls. What is known before the ride (rows'
numbers, constants, the bounds of a loop over columns) is worked out on the way: such loops are
written out, such branches taken or left, and a function is translated once for each set of known
arguments. All else becomes C++ text, operation by operation in the order of the source, under the
fixed rules of `plant.arithmetic`; a compiler that neither fuses nor reorders gives equal bits.
"""

import ast
import dataclasses
import inspect
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from plant.arithmetic import rewritten
from plant.cuda.expressions import Rows
from plant.cuda.statements import Body, Called, assigned
from plant.cuda.values import Code, Static, TranslationError, Value, static_type, text_of


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Translation:
    """C++ functions of one lane, callees first.

    Attributes
    ----------
    text : str
        The structures in which tuples return, and the functions.
    call : str
        The call that rides the lane `b`.
    """

    text: str
    call: str


def translate(
    entry: Callable[..., Any],
    arguments: Sequence[Value],
    rows: Rows,
    names: Mapping[str, object],
) -> Translation:
    """Return a function and all that it calls as C++.

    Parameters
    ----------
    entry : callable
        A plain function, or one that numba compiles.
    arguments : sequence of Value
        What each parameter is; `Code` where it is known only at the launch.
    rows : Rows
        How a row of a lane is written in C++.
    names : mapping of str to object
        What global names mean in every function, instead of what their modules say.

    Raises
    ------
    TranslationError
        A construct that is not translated; names file and line.
    """
    program = _Program(rows, names)
    call = program.called(entry, list(arguments)).text
    return Translation(text=program.text(), call=call)


class _Program:
    """The functions translated so far, each once for what is known of its arguments."""

    def __init__(self, rows: Rows, names: Mapping[str, object]) -> None:
        self._rows = rows
        self._changed_names = names
        self._trees: dict[Callable[..., Any], ast.FunctionDef] = {}
        self._made: dict[object, Body | None] = {}
        self._texts: list[str] = []
        self._structures: dict[str, str] = {}
        self._n_versions: dict[str, int] = {}

    def text(self) -> str:
        return "\n".join([*self._structures.values(), *self._texts])

    def structure(self, kinds: tuple[str, ...]) -> str:
        name = "Given_" + "_".join(kinds)
        members = " ".join(f"{kind} v{place};" for place, kind in enumerate(kinds))
        self._structures[name] = f"struct {name} {{ {members} }};"
        return name

    def called(self, function: Callable[..., Any], arguments: list[Value]) -> Called:
        plain = getattr(function, "py_func", function)
        if not inspect.isfunction(plain):
            raise TranslationError(f"a call of {function!r}")
        if plain not in self._trees:
            self._trees[plain] = rewritten(plain)
        tree = self._trees[plain]
        if len(tree.args.args) != len(arguments):
            raise TranslationError(f"{plain.__name__} takes {len(tree.args.args)} arguments")
        changed = assigned(tree.body)
        parameters = [
            _parameter(value, changes=parameter.arg in changed)
            for parameter, value in zip(tree.args.args, arguments, strict=True)
        ]
        body = self._body(plain, tree, parameters)
        given = [
            text
            for value, parameter in zip(arguments, parameters, strict=True)
            for text in _given(value, parameter)
        ]
        text = f"{body.name}({', '.join(['b', *given])})"
        return Called(name=body.name, text=text, gives=body.gives, writes=body.writes)

    def _body(
        self, plain: Callable[..., Any], tree: ast.FunctionDef, parameters: list[Value]
    ) -> Body:
        key = (plain, tuple(map(_key, parameters)))
        if key not in self._made:
            self._made[key] = None
            name = plain.__name__.strip("_")
            version = self._n_versions.get(name, 0)
            self._n_versions[name] = version + 1
            name += f"_{version}"
            body = Body(self, self._rows, names=self._changed_names, function=plain, tree=tree)
            self._texts.append(f"INLINED {body.translated(name, parameters)}")
            self._made[key] = body
        made = self._made[key]
        if made is None:
            raise TranslationError(f"{plain.__name__} calls itself")
        return made


def _parameter(value: Value, *, changes: bool) -> Value:
    """Return what a function knows of an argument: all that is known, but for real numbers.

    A number that the function itself changes is not known, and one version serves all reals.
    """
    if isinstance(value, tuple):
        return tuple(_parameter(member, changes=changes) for member in value)
    if isinstance(value, Code):
        return Code("", value.type)
    if isinstance(value, Static) and (changes or isinstance(value.value, float)):
        return Code("", static_type(value.value))
    return value


def _given(value: Value, parameter: Value) -> list[str]:
    """Return the C++ arguments for a value: none for what is known, one for each number."""
    if isinstance(value, tuple) and isinstance(parameter, tuple):
        pairs = zip(value, parameter, strict=True)
        return [text for member, known in pairs for text in _given(member, known)]
    return [text_of(value, parameter.type)] if isinstance(parameter, Code) else []


def _key(value: Value) -> object:
    if isinstance(value, tuple):
        return tuple(map(_key, value))
    if isinstance(value, Static):
        known = value.value
        return (type(known), known if isinstance(known, int | str) else id(known))
    return value
