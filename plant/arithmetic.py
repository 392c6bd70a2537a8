"""Arithmetic that is the same on every machine: a fixed rule says what is fused and inverted.

A compiler that may choose where to round once instead of twice, or where to multiply by a
reciprocal, chooses by processor and by version. Here the choice is made in the syntax tree of a
function, before any compiler sees it:

1. An expression of constants alone (number literals and numbers of the module) is worked out.
2. `x / constant` becomes `x * (1 / constant)`.
3. A product that is added or subtracted becomes one fused multiply-add. Of two products the left
   one is fused, the right one rounded by itself.

Whole numbers keep their arithmetic: what stands in an index, or has a whole constant in it, is
left alone. All else is computed as it is written.
"""

import ast
import copy
import enum
import inspect
import operator
import textwrap
from collections.abc import Callable, Mapping
from typing import Any, TypeAlias, TypeGuard, TypeVar

from plant.fused import fused

FUSED_NAME = "fused"  # under this name the rewritten tree calls `plant.fused.fused`

_Function = TypeVar("_Function", bound=Callable[..., Any])
_Node = TypeVar("_Node", bound=ast.AST)
_Number: TypeAlias = int | float
_OPERATIONS: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}


def rewritten(function: Callable[..., Any]) -> ast.FunctionDef:
    """Return the syntax tree of a function under the rules above, without its decorators.

    Places are those of the source file. The tree calls the fused multiply-add as `FUSED_NAME`.

    Raises
    ------
    OSError
        The source is not at hand.
    """
    lines, first = inspect.getsourcelines(function)
    # Empty lines before it keep the lines of the file.
    [tree] = ast.parse("\n" * (first - 1) + textwrap.dedent("".join(lines))).body
    if not isinstance(tree, ast.FunctionDef):
        raise TypeError(f"{function.__qualname__} must be a plain function")
    local = set(function.__code__.co_varnames)
    known = {
        name: value
        for name, value in function.__globals__.items()
        if name not in local and (_is_number(value) or isinstance(value, enum.EnumType))
    }
    tree.decorator_list = []
    tree.body = [_Rules(known).visit(statement) for statement in tree.body]
    return ast.fix_missing_locations(tree)


def fixed(function: _Function) -> _Function:
    """Return the function as compiled by Python from its rewritten tree.

    Name, file, lines, docstring, annotations and globals stay. The fused multiply-add reaches it
    by a cell, so that no module gets a name it did not write.
    """
    tree = rewritten(function)
    binder = ast.parse(f"def bind({FUSED_NAME}):\n    return {tree.name}")
    binder.body[0].body.insert(0, tree)  # type: ignore[attr-defined]
    made: dict[str, Any] = {}
    code = compile(binder, function.__code__.co_filename, "exec", dont_inherit=True)
    exec(code, function.__globals__, made)  # noqa: S102 (the caller's own source)
    new: _Function = made["bind"](fused)
    for name in ("__module__", "__qualname__", "__doc__", "__annotations__", "__dict__"):
        setattr(new, name, getattr(function, name))
    return new


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


class _Rules(ast.NodeTransformer):
    """Rewrites statements, innermost expressions first."""

    def __init__(self, known: Mapping[str, Any]) -> None:
        """Take the module's numbers, and its enumerations of numbers, by name."""
        self._known = known

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        return node  # an index is whole

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        value = self._value(node.operand)
        if isinstance(node.op, ast.USub) and isinstance(value, float):
            return _at(node, ast.Constant(-value))
        return node

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        left, right = self._value(node.left), self._value(node.right)
        if left is not None and right is not None:
            return self._worked_out(node, left, right)
        if isinstance(node.op, ast.Div) and right:
            return _at(node, ast.BinOp(node.left, ast.Mult(), ast.Constant(1.0 / right)))
        if isinstance(node.op, ast.Add | ast.Sub):
            return self._fused(node)
        return node

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        """Write `x += a * b` as `x = x + a * b`: all else that changes in place stays."""
        whole = ast.BinOp(_loaded(node.target), node.op, node.value)
        value = self.visit(_at(node, whole))
        if isinstance(value, ast.BinOp) and value is whole:
            node.value = value.right
            return node
        return _at(node, ast.Assign([node.target], value))

    def _value(self, node: ast.expr) -> _Number | None:
        """Return the number that an expression is known to be, or None."""
        value: object = None
        if isinstance(node, ast.Constant):
            value = node.value
        elif isinstance(node, ast.Name):
            value = self._known.get(node.id)
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            value = getattr(self._known.get(node.value.id), node.attr, None)
        return value if _is_number(value) else None  # type: ignore[return-value]

    def _worked_out(self, node: ast.BinOp, left: _Number, right: _Number) -> ast.expr:
        operation = _OPERATIONS.get(type(node.op))
        value = operation(left, right) if operation else None
        return _at(node, ast.Constant(value)) if isinstance(value, float) else node

    def _fused(self, node: ast.BinOp) -> ast.expr:
        subtracts = isinstance(node.op, ast.Sub)
        if self._is_product(node.left) and not self._is_whole(node.right):
            first, second, rest = node.left.left, node.left.right, node.right
            rest = self._negative(rest) if subtracts else rest
        elif self._is_product(node.right) and not self._is_whole(node.left):
            first, second, rest = node.right.left, node.right.right, node.left
            first = self._negative(first) if subtracts else first
        else:
            return node
        return _at(node, ast.Call(ast.Name(FUSED_NAME, ast.Load()), [first, second, rest], []))

    def _is_product(self, node: ast.expr) -> TypeGuard[ast.BinOp]:
        """Return whether this is a product to fuse: not one with a whole constant."""
        return (
            isinstance(node, ast.BinOp)
            and isinstance(node.op, ast.Mult)
            and not self._is_whole(node.left)
            and not self._is_whole(node.right)
        )

    def _is_whole(self, node: ast.expr) -> bool:
        return isinstance(self._value(node), int)

    def _negative(self, node: ast.expr) -> ast.expr:
        value = self._value(node)
        if isinstance(value, float):
            return _at(node, ast.Constant(-value))
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            return node.operand
        return _at(node, ast.UnaryOp(ast.USub(), node))


def _at(old: ast.AST, new: _Node) -> _Node:
    """Return a new node at an old one's place in the file."""
    return ast.copy_location(new, old)


def _loaded(target: ast.expr) -> ast.expr:
    """Return what a target holds, as an expression."""
    loaded = copy.deepcopy(target)
    loaded.ctx = ast.Load()  # type: ignore[attr-defined]
    return loaded
