"""A program of its own that fills in one template, inside limits of time, memory and length.

It reads a JSON object with the template, its names' values and the limits from standard input and
answers with one on standard output: the text, or what is wrong and in which line. A sandbox keeps
a template from the machine; only a process of its own keeps it from taking all memory or all time.
`optimizer.reports.user_template` starts it.
"""

import json
import sys
import traceback
from typing import Any

from jinja2 import StrictUndefined
from jinja2.sandbox import SandboxedEnvironment

_NAMED_BY_JINJA = "<template>"  # the file of the frames that run a template's lines


def filled_in(text: str, facts: dict[str, Any], *, most_characters: int) -> str:
    """Return the text of a template.

    Raises
    ------
    ValueError
        It is longer than allowed, or can not be written as UTF-8.
    Exception
        Whatever the template's syntax, names or arithmetic raise.
    """
    environment = SandboxedEnvironment(
        undefined=StrictUndefined, keep_trailing_newline=True, autoescape=False
    )
    parts, length = [], 0
    for part in environment.from_string(text).generate(facts):
        length += len(part)
        if length > most_characters:
            raise ValueError(f"it writes more than {most_characters} characters")
        parts.append(part)
    whole = "".join(parts)
    whole.encode("utf-8")
    return whole


def line_of(error: Exception) -> int | None:
    """Return the line of a template in which an error arose, where that is known."""
    written = getattr(error, "lineno", None)
    frames = traceback.extract_tb(error.__traceback__)
    lines = [frame.lineno for frame in frames if frame.filename == _NAMED_BY_JINJA]
    return int(written) if written else next(reversed(lines), None)


def _limit(*, seconds: int, most_bytes: int) -> None:
    """Limit this process, where the system can: Windows has no such limits."""
    try:
        import resource  # noqa: PLC0415  # not every system has it
    except ImportError:
        return
    for kind, most in (
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_AS, most_bytes),
        (resource.RLIMIT_FSIZE, 0),  # it writes no file; a pipe is none
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(kind, (most, most))


def main() -> None:
    """Fill in the template of standard input."""
    asked = json.load(sys.stdin)
    _limit(seconds=asked["seconds"], most_bytes=asked["most_bytes"])
    answer: dict[str, Any]
    try:
        answer = {
            "text": filled_in(
                asked["template"], asked["facts"], most_characters=asked["most_characters"]
            )
        }
    except Exception as error:  # noqa: BLE001  # a template can raise anything
        answer = {"fault": f"{error}" or type(error).__name__, "line": line_of(error)}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main()
