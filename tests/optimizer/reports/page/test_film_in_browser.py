"""The film of a ride on the page: it stands where Python says, and moves with the signals."""

import re

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from optimizer.analysis.candidate import worst_places
from optimizer.reports.page.films import POSES, SIGNALS
from tests.optimizer.reports.page.browsing import find
from tests.optimizer.reports.page.unpacking import unpacked_signals

SCRUB = (
    "const slider = document.querySelector('.film input'); slider.value = arguments[0];"
    "slider.dispatchEvent(new Event('input'))"
)
FRAME = 30


@pytest.fixture
def stored(results, facts):
    """Return poses and signals of the worst ride of the candidate that is chosen at first."""
    number = results.picks["lowest_cost"]
    film = facts["traces"][str(number)][str(worst_places(results, number)[0])]
    return (
        dict(zip(POSES, unpacked_signals(film["poses"]), strict=True)),
        dict(zip(SIGNALS, unpacked_signals(film["signals"]), strict=True)),
    )


def test_the_parts_stand_where_python_says_and_the_words_are_of_that_moment(page, stored):
    poses, signals = stored
    page.execute_script(SCRUB, FRAME)
    moved = page.execute_script(
        "return [...document.querySelectorAll('.scene.this svg > g > g')]"
        ".map((part) => part.getAttribute('transform'))"
    )
    found = [[float(number) for number in re.findall(r"-?[\d.]+", one)] for one in moved]
    at = (poses["axle_x_m"][FRAME], -poses["axle_z_m"][FRAME])

    ankles = (at[0] + poses["ankle_x_m"][FRAME], at[1] - poses["ankle_z_m"][FRAME])
    places = {"lean_deg": ankles, "wheel_deg": at, "pitch_deg": at}
    for numbers, (name, place) in zip(found, places.items(), strict=True):
        assert numbers == pytest.approx([*place, poses[name][FRAME]], rel=1e-9)
    nose_cm = signals["nose_clearance_cm"][2 * FRAME + 1]
    assert f"Nose {nose_cm:.1f} cm above the ground" in find(page, ".scene.this .film-said").text


def test_a_line_over_the_signals_follows_the_film_and_a_click_there_leads_it(page):
    page.execute_script(SCRUB, FRAME)
    left = page.execute_script(
        "const plot = document.getElementById('traces'), axis = plot._fullLayout.xaxis;"
        "return [parseFloat(document.querySelector('.cursor').style.left) - axis._offset,"
        " axis.d2p(1.24)]"
    )
    page.execute_script(
        "const plot = document.getElementById('traces'), axis = plot._fullLayout.xaxis;"
        "const x = plot.getBoundingClientRect().x + axis._offset + axis.d2p(2.0);"
        "plot.dispatchEvent(new MouseEvent('click', { clientX: x }))"
    )

    assert left[0] == pytest.approx(left[1], abs=0.1)
    assert find(page, ".film output").text.startswith("2.00 of")


def test_the_film_plays_and_pauses(page):
    play = find(page, ".film .play")
    now = "return Number(document.querySelector('.film input').value)"
    play.click()
    WebDriverWait(page, 10).until(lambda seen: seen.execute_script(now) > 2)
    play.click()
    paused = page.execute_script(now)

    assert "Play" in play.text
    assert page.execute_script(now) == paused


def test_another_ride_is_looked_at_by_its_button_or_its_number(page):
    other = page.find_elements(By.CSS_SELECTOR, ".ride-chooser button")[1]
    other.click()
    chosen = other.get_attribute("data-place")
    page.execute_script("document.querySelector('.heat td button').click()")
    pressed = find(page, ".ride-chooser [aria-pressed=true]").get_attribute("data-place")

    assert len(page.find_elements(By.CSS_SELECTOR, ".scene")) == 2
    assert chosen.isdigit()
    assert pressed.isdigit()
