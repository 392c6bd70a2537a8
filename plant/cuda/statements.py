"""From the statements of one function of a lane to a C++ function."""

import ast
import dataclasses
import inspect
from collections.abc import Callable, Mapping, Sequence
from typing import Any, ClassVar, Protocol

from plant.cuda.expressions import Expressions, Rows
from plant.cuda.operations import arithmetic
from plant.cuda.values import (
    DOUBLE,
    INT,
    Code,
    Static,
    TranslationError,
    Value,
    text_of,
    type_of,
)


class _PlacedError(TranslationError):
    """A construct that the translation does not know, with its place already said."""


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Called:
    """A call of one of the lane's functions: its text, what it gives, if it writes rows."""

    name: str
    text: str
    gives: tuple[str, ...] | str | None
    writes: bool


class Functions(Protocol):
    """The other functions of the lane."""

    def called(self, function: Callable[..., Any], arguments: list[Value]) -> Called:
        """Return a call of a function, translated for these arguments."""

    def structure(self, kinds: tuple[str, ...]) -> str:
        """Return the name of the structure in which a tuple of such numbers returns."""


def assigned(body: Sequence[ast.stmt]) -> dict[str, int]:
    """Return how often each name is assigned, anywhere in the statements."""
    counts: dict[str, int] = {}
    for statement in body:
        for node in ast.walk(statement):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                counts[node.id] = counts.get(node.id, 0) + 1
            if isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name):
                counts[node.target.id] += 1  # it needs a value before: never assigned once
    return counts


def _own(name: str) -> str:
    """Return the name of a variable in C++: none of its words, and no function's name."""
    return f"{name}_"


class Body:
    """The translation of one function for what is known of its arguments.

    Attributes
    ----------
    name : str
    gives : tuple of str, str or None
        Types of what it returns.
    writes : bool
        Whether it, or what it calls, writes rows.
    """

    def __init__(
        self,
        functions: Functions,
        rows: Rows,
        *,
        names: Mapping[str, object],
        function: Callable[..., Any],
        tree: ast.FunctionDef,
    ) -> None:
        self.name = ""
        self.gives: tuple[str, ...] | str | None = None
        self.writes = False
        self._functions = functions
        self._tree = tree
        self._file = inspect.getsourcefile(function)
        self._times = assigned(tree.body)
        self._names: dict[str, Value] = {}
        self._declared: dict[str, str] = {}
        self._lines: list[str] = []
        self._depth = 1
        self._n_kept = 0
        self._loops: list[str] = []  # "written out" or "for", the innermost last
        outer = {**function.__globals__, **names}
        self._expressions = Expressions(self._names, outer, rows, self._call)

    def translated(self, name: str, parameters: Sequence[Value]) -> str:
        """Return the C++ function under a name."""
        self.name = name
        texts = ["Lane &b"]
        for parameter, value in zip(self._tree.args.args, parameters, strict=True):
            self._names[parameter.arg] = self._parameter(parameter.arg, value, texts)
        self._statements(self._tree.body)
        gives = self.gives
        kind = self._functions.structure(gives) if isinstance(gives, tuple) else gives or "void"
        declared = [f"  {kind} {local};" for local, kind in self._declared.items()]
        return "\n".join([f"{kind} {name}({', '.join(texts)}) {{", *declared, *self._lines, "}"])

    def _parameter(self, name: str, value: Value, texts: list[str]) -> Value:
        if isinstance(value, tuple):
            return tuple(
                self._parameter(f"{name}_of_{place}", member, texts)
                for place, member in enumerate(value)
            )
        if not isinstance(value, Code):
            return value
        texts.append(f"{value.type} {_own(name)}")
        return Code(_own(name), value.type)

    def _say(self, line: str) -> None:
        self._lines.append("  " * self._depth + line)

    def _block(self, head: str, body: Sequence[ast.stmt], *, first: str = "") -> None:
        self._say(f"{head} {{ {first}".rstrip())
        self._depth += 1
        self._statements(body)
        self._depth -= 1
        self._say("}")

    def _statements(self, body: Sequence[ast.stmt]) -> None:
        for statement in body:
            try:
                self._statement(statement)
            except _PlacedError:
                raise
            except TranslationError as error:
                raise _PlacedError(f"{self._file}:{statement.lineno}: {error}") from error

    def _statement(self, statement: ast.stmt) -> None:
        translate = self._TRANSLATIONS.get(type(statement))
        if translate is None:
            raise TranslationError(f"{type(statement).__name__} is not translated")
        translate(self, statement)

    # What is called, and what is bound

    def _call(self, function: Any, values: list[Value]) -> Value:
        """Return the value of a call that stands inside an expression."""
        called = self._functions.called(function, values)
        if called.writes:  # C++ does not say which part of an expression comes first
            raise TranslationError(f"{called.name} writes rows: its call must stand by itself")
        if not isinstance(called.gives, str):
            raise TranslationError(f"{called.name} gives no one number: its call must stand alone")
        return Code(called.text, called.gives)

    def _value(self, node: ast.expr) -> Value:
        """Return the value of an expression that stands by itself: its call may write rows."""
        function = self._expressions.lane_function(node)
        if function is None or not isinstance(node, ast.Call):
            return self._expressions.value(node)
        called = self._functions.called(function, self._expressions.arguments(node))
        self.writes |= called.writes
        if called.gives is None:
            self._say(f"{called.text};")
            return ()
        if isinstance(called.gives, str):
            return Code(called.text, called.gives)
        given = self._keep(self._functions.structure(called.gives), called.text)
        return tuple(Code(f"{given}.v{place}", kind) for place, kind in enumerate(called.gives))

    def _keep(self, kind: str, text: str) -> str:
        name = f"kept_{self._n_kept}"
        self._n_kept += 1
        self._say(f"const {kind} {name} = {text};")
        return name

    def _kept(self, value: Value) -> Value:
        """Return a value that no later assignment changes."""
        if isinstance(value, tuple):
            return tuple(map(self._kept, value))
        if not isinstance(value, Code) or value.text.startswith("kept_"):
            return value
        return Code(self._keep(value.type, value.text), value.type, value.base)

    def _bind(self, target: ast.expr, value: Value) -> None:
        if isinstance(target, ast.Tuple):
            if isinstance(value, Static) and isinstance(value.value, tuple):
                value = tuple(map(Static, value.value))
            if not isinstance(value, tuple) or len(value) != len(target.elts):
                raise TranslationError("what is taken apart must be a tuple of that length")
            # All members are worked out before the first of them changes a name.
            for one, member in zip(target.elts, tuple(map(self._kept, value)), strict=True):
                self._bind(one, member)
        elif isinstance(target, ast.Subscript):
            place = self._expressions.place(target)
            self._say(f"{place} = {text_of(value, DOUBLE)};")
            self.writes = True
        elif isinstance(target, ast.Name):
            self._bind_name(target.id, value)
        else:
            raise TranslationError(f"an assignment to {type(target).__name__}")

    def _bind_name(self, name: str, value: Value) -> None:
        once = self._times[name] == 1
        if not isinstance(value, Static | Code):
            if not once:
                raise TranslationError(f"{name} is no number, and is assigned more than once")
            self._names[name] = self._kept(value)
            return
        known = self._names.get(name)
        if once and isinstance(value, Static) and not isinstance(known, Code):
            self._names[name] = value
            return
        kind = known.type if isinstance(known, Code) else type_of(value)
        if not isinstance(known, Code):
            self._declared[_own(name)] = kind
        base = value.base if once and isinstance(value, Code) else 0
        text = value.text if base and isinstance(value, Code) else text_of(value, kind)
        self._say(f"{_own(name)} = {text};")
        self._names[name] = Code(_own(name), kind, base)

    # Statements

    def _expression(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Constant):  # a docstring
            return
        value = self._value(node.value)
        if isinstance(value, Code):
            self._say(f"{value.whole};")

    def _assign(self, node: ast.Assign) -> None:
        if len(node.targets) != 1:
            raise TranslationError("an assignment to several targets")
        self._bind(node.targets[0], self._value(node.value))

    def _annotated(self, node: ast.AnnAssign) -> None:
        if node.value is None:
            raise TranslationError("an annotation without a value")
        self._bind(node.target, self._value(node.value))

    def _augmented(self, node: ast.AugAssign) -> None:
        before = self._expressions.value(node.target)
        after = arithmetic(type(node.op), before, self._expressions.value(node.value))
        self._bind(node.target, after)

    def _return(self, node: ast.Return) -> None:
        value = self._value(node.value) if node.value is not None else ()
        if value == ():
            self._say("return;")
            return
        kinds = tuple(map(type_of, value)) if isinstance(value, tuple) else type_of(value)
        if self.gives not in {None, kinds}:
            raise TranslationError(f"{kinds} is returned here, and {self.gives} before")
        self.gives = kinds
        text = text_of(value) if isinstance(kinds, str) else ""
        if isinstance(value, tuple):
            members = ", ".join(map(text_of, value))
            text = f"{self._functions.structure(tuple(kinds))}{{{members}}}"
        self._say(f"return {text};")

    def _if(self, node: ast.If) -> None:
        condition = self._expressions.condition(node.test)
        if isinstance(condition, Static):
            self._statements(node.body if condition.value else node.orelse)
            return
        self._block(f"if ({condition.whole})", node.body)
        if node.orelse:
            self._block("else", node.orelse)

    def _for(self, node: ast.For) -> None:
        if not isinstance(node.target, ast.Name) or node.orelse:
            raise TranslationError("a loop must count one name, without an else")
        bounds = self._expressions.bounds(node.iter)
        if all(isinstance(bound, Static) for bound in bounds):
            known = [bound.value for bound in bounds if isinstance(bound, Static)]
            self._loops.append("written out")
            for count in range(*known):
                self._names[node.target.id] = Static(count)
                self._statements(node.body)
        else:
            first, end = (text_of(bound, INT) for bound in bounds)
            own = _own(node.target.id)
            self._names[node.target.id] = Code(own, INT)
            self._loops.append("for")
            head = f"for (int {own} = {first}; {own} < {end}; ++{own})"
            self._block(head, node.body, first="EACH_ROUND")
        self._loops.pop()

    def _leave(self, node: ast.stmt) -> None:
        word = "break" if isinstance(node, ast.Break) else "continue"
        if self._loops[-1] == "written out":
            raise TranslationError(f"{word} in a loop that is written out")
        self._say(f"{word};")

    def _pass(self, _node: ast.stmt) -> None:
        return

    _TRANSLATIONS: ClassVar[dict[type[ast.stmt], Callable[[Any, Any], None]]] = {
        ast.Expr: _expression,
        ast.Assign: _assign,
        ast.AnnAssign: _annotated,
        ast.AugAssign: _augmented,
        ast.Return: _return,
        ast.If: _if,
        ast.For: _for,
        ast.Break: _leave,
        ast.Continue: _leave,
        ast.Pass: _pass,
    }
