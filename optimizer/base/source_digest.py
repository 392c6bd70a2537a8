"""Digest of what Python sources do, blind to how they are laid out and explained."""

import ast
import hashlib
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any


def source_digest(packages: Iterable[Path]) -> str:
    """Return the SHA-256 over the syntax trees of all modules of some packages.

    Comments, docstrings and line breaks leave it as it is; a number, an operator, a default or a
    definition changes it. The path of a module counts, because a name means what its own module
    binds it to: the same definitions spread over other modules need not do the same. A function
    that only moves therefore changes the digest too.

    Parameters
    ----------
    packages : iterable of Path
        Folders; each counts by its own name, wherever it is installed.
    """
    digest = hashlib.sha256()
    for package in packages:
        for source in sorted(package.rglob("*.py")):
            place = source.relative_to(package.parent).as_posix()
            digest.update(f"{place}\n{_text(ast.parse(source.read_bytes()))}\n".encode())
    return digest.hexdigest()


def bytes_digest(packages: Iterable[Path]) -> str:
    """Return the SHA-256 over the modules of some packages as they are written.

    It is found in a tenth of the time of `source_digest`, and changes whenever that one does: what
    makes that one counts too.
    """
    digest = hashlib.sha256(sys.version.encode() + Path(__file__).read_bytes())
    for package in packages:
        for source in sorted(package.rglob("*.py")):
            content = hashlib.sha256(source.read_bytes()).hexdigest()
            digest.update(f"{source.relative_to(package.parent).as_posix()}\n{content}\n".encode())
    return digest.hexdigest()


def _text(node: Any) -> str:
    """Return a syntax tree as text.

    `ast.dump` writes empty fields in some versions of Python and leaves them out in others; two
    machines with two of them have one model all the same, so no empty field is written here.
    """
    if isinstance(node, ast.AST):
        fields = [
            f"{name}={_text(value)}"
            for name, value in ast.iter_fields(node)
            if value is not None and value != [] and name != "kind"  # the u of u"text"
        ]
        return f"{type(node).__name__}({', '.join(fields)})"
    if isinstance(node, list):
        return f"[{', '.join(_text(item) for item in node if not _is_docstring(item))}]"
    return repr(node)


def _is_docstring(statement: Any) -> bool:
    """Say whether a statement is a text alone, which does nothing wherever it stands."""
    return (
        isinstance(statement, ast.Expr)
        and isinstance(statement.value, ast.Constant)
        and isinstance(statement.value.value, str)
    )
