"""Texts of others, so that a terminal and a C compiler take them as texts and as nothing else."""

import re

# The C0 and C1 controls but for tab and line feed, which lay out a text; the marks by which a text
# changes its direction (Unicode Standard Annex 9), with which it can show other than what it holds;
# separators of lines and paragraphs; halves of surrogate pairs, which no output can hold.
_CONTROLS = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f"
    "\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff]"
)
_LONGEST = 2000  # characters of a line for the user


def printable(text: str) -> str:
    r"""Return a text with its control characters written as escapes, such as `\x1b`.

    Tabs and line feeds stay.
    """
    return _CONTROLS.sub(_escape, text)


def one_line(text: str) -> str:
    """Return a printable text in one line, cut short where it is very long."""
    line = " ".join(printable(text).split())
    return line if len(line) <= _LONGEST else f"{line[:_LONGEST]}…"


def in_unicode_escapes(text: str) -> str:
    r"""Return a text with its control characters as in JSON and TOML, such as `\u001b`."""
    return _CONTROLS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def _escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
