"""A template of the user's own is filled in, or refused in one line and bounded time and memory."""

import pytest

from optimizer.base.errors import UserInputError
from optimizer.reports import user_template
from optimizer.reports.user_template import render_template

FACTS = {"profile": {"stiffness": {"base_gain_a_per_deg": 3.5}}, "title": "a"}


@pytest.fixture
def fill(tmp_path, monkeypatch):
    """Return the function that gives the text of a template."""
    monkeypatch.setattr(user_template, "SECONDS", 1)

    def filled(text):
        template = tmp_path / "bench.txt"
        template.write_text(text)
        return render_template(FACTS, template)

    return filled


def test_a_template_is_filled_in_to_the_last_digit(fill):
    text = fill("{% for s in profile.values() %}{{ s.base_gain_a_per_deg }}\n{% endfor %}")

    assert text == "3.5\n"


# Each raised something of its own, or what no list of faults foresees.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a\n\n{{ missing.x }}", r"bench\.txt:3: 'missing' is undefined; the names allowed are"),
        ("{{ ", r"bench\.txt:1: unexpected 'end of template'"),
        ("a\n{{ profile.stiffness.soft }}", r":2: 'dict object' has no attribute 'soft'"),
        ("{{ 'a' + 1 }}", "can only concatenate"),
        ("{{ 1 / 0 }}", "division by zero"),
        ("{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}", "maximum recursion depth"),
        ("{{ " + "(" * 3000 + "1" + ")" * 3000 + " }}", "maximum recursion depth"),
        ("{% include '/etc/hosts' %}", "no loader for this environment"),
        ("{{ '\\ud800' }}", "surrogates not allowed"),
        ("{{ profile.__class__.mro() }}", "is unsafe"),
        ("{{ cycler.__init__.__globals__ }}", "is unsafe"),
        ("{{ title.format.__globals__ }}", "__globals__"),
        ("{{ range(10 ** 9) | list }}", "Range too big"),
        ("{{ 'aaaa' | wordwrap(0) }}", "invalid width 0"),
    ],
)
def test_a_fault_of_a_template_is_one_line_with_its_place(fill, text, said):
    with pytest.raises(UserInputError, match=said) as refused:
        fill(text)

    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}",
            "takes more than 1 s or 1 GB of memory",
        ),
        ("{{ 'a' * 10 ** 10 }}", "MemoryError"),
        ("{% for a in range(99999) %}{{ 'a' * 1000 }}{% endfor %}", "more than 4000000 characters"),
    ],
)
@pytest.mark.timeout(60)
def test_a_template_without_an_end_is_ended(fill, text, said):
    with pytest.raises(UserInputError, match=said):
        fill(text)
