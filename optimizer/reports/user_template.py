"""An export by the user's own Jinja2 template, filled in by a process of its own."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from optimizer.base.errors import UserInputError
from optimizer.base.reading import read_text
from optimizer.reports import fill_template

# Far beyond what a header or a settings file needs, and little enough for any machine.
SECONDS = 5
_STARTING_S = 10.0  # to load Python and the library, on a busy machine
_MOST_BYTES = 1_000_000_000
MOST_CHARACTERS = 4_000_000


def render_template(facts: dict[str, Any], template: Path) -> str:
    """Return an export's text by the user's own template.

    Raises
    ------
    UserInputError
        The template can not be read, uses a name that an export does not have, or takes too much
        time or memory; one line.
    """
    asked = {
        "template": read_text(template),
        "facts": facts,
        "seconds": SECONDS,
        "most_bytes": _MOST_BYTES,
        "most_characters": MOST_CHARACTERS,
    }
    answer = _answer(asked)
    if answer is None:
        raise UserInputError(
            f"{template}: takes more than {SECONDS} s or {_MOST_BYTES / 1e9:g} GB of memory;"
            " take out what repeats or grows without end"
        )
    if "text" in answer:
        text: str = answer["text"]
        return text
    place = f"{template}:{answer['line']}" if answer["line"] else f"{template}"
    raise UserInputError(
        f"{place}: {str(answer['fault'])[:300]}; the names allowed are {', '.join(sorted(facts))}"
    )


def _answer(asked: dict[str, Any]) -> dict[str, Any] | None:
    """Return what the process answers; None where it had to be ended."""
    # By its path, and without that folder among those of modules: it needs nothing of ours.
    command = [sys.executable, "-P", fill_template.__file__]
    try:
        done = subprocess.run(  # noqa: S603  # this Python, and a file of ours
            command,
            input=json.dumps(asked).encode(),
            capture_output=True,
            timeout=SECONDS + _STARTING_S,
            check=False,
        )
        answer: dict[str, Any] = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, ValueError):
        return None
    return answer
