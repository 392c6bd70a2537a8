"""Texts of others reach a terminal, a message and JSON as texts and as nothing else."""

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.base.errors import StudyFileError
from optimizer.base.json_io import json_text
from optimizer.base.printable import one_line, printable

# Unicode's general categories of controls, of halves of pairs, and of separators of lines.
NOT_SHOWN = ("Cc", "Cs", "Zl", "Zp")
# Unicode Standard Annex 9, "Directional Formatting Characters".
TURNING = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@given(st.text())
def test_no_control_character_is_left(text):
    shown = printable(text)

    assert not [
        sign
        for sign in shown
        if (unicodedata.category(sign) in NOT_SHOWN and sign not in "\t\n") or sign in TURNING
    ]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b]0;owned\x07", r"\x1b]0;owned\x07"),
        ("safe\u202egpj", r"safe\u202egpj"),
        ("\x9b31m", r"\x9b31m"),
        ("Straße 5 → ابجد\u200d", "Straße 5 → ابجد\u200d"),
    ],
)
def test_a_control_character_is_shown_as_its_escape(text, shown):
    assert printable(text) == shown


@given(st.text())
def test_an_error_is_one_line_whatever_it_quotes(text):
    said = str(StudyFileError(text))

    assert len(said.splitlines()) <= 1
    assert said == one_line(said)
    assert len(said) <= 2001


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_json_reads_back_as_the_same_text_and_holds_no_control_character(text):
    written = json_text({"title": text})

    assert json.loads(written) == {"title": text}
    assert printable(written) == written
