"""Both looks of the page against WCAG 2.2: 1.4.3 for text, 1.4.11 for what is drawn."""

import re
from importlib.resources import files

import pytest

CSS = files("optimizer.reports.page").joinpath("static", "page.css").read_text(encoding="utf-8")
LOOKS = {"light": r":root \{ (--ink.*?)\}", "dark": r':root\[data-look="dark"\] \{(.*?)\}'}
TEXT = [("ink", "paper"), ("soft", "paper"), ("warn", "paper"), ("ink", "button"),
        ("ink", "chosen"), ("on-blue", "blue"), ("ink", "earth")]  # fmt: skip
DRAWN = [("grey", "paper"), ("blue", "paper"), ("mark", "paper"), ("road", "sky"), ("blue", "sky")]


def colors(look):
    block = re.search(LOOKS[look], CSS, flags=re.DOTALL)[1]
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))


def luminance(color):
    """Return the relative luminance of an sRGB colour, as WCAG 2.2 defines it."""
    parts = [int(color[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_gives_the_standards_own_ends():
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # a known near miss


@pytest.mark.parametrize("look", LOOKS)
def test_text_and_drawings_stand_out(look):
    have = colors(look)

    for one, other in TEXT:
        assert contrast(have[one], have[other]) >= 4.5, (one, other)
    for one, other in DRAWN:
        assert contrast(have[one], have[other]) >= 3.0, (one, other)


def test_both_looks_have_the_same_colours():
    assert set(colors("light")) == set(colors("dark"))
