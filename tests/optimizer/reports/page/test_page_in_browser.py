"""The page in a real browser: what a reader does, and what follows."""

import base64
import dataclasses
import itertools

import numpy as np
import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.wait import WebDriverWait

from objectives import OBJECTIVES, weighted_cost
from optimizer.reports.page import page_data, write_page
from optimizer.reports.page.encoding import packed
from optimizer.search.evaluation import BASELINE
from tests.optimizer.reports.page.browsing import (
    COSTS,
    PATIENCE_S,
    PHONE_PX,
    all_rows,
    find,
    rings,
    settle,
    size,
    uncheck_front_only,
)
from tests.optimizer.reports.page.conftest import HOSTILE_TITLE
from tests.optimizer.reports.page.unpacking import unpacked

MOVE = (
    "const slider = document.getElementById(arguments[0]); slider.value = arguments[1];"
    "slider.dispatchEvent(new Event('input', { bubbles: true }))"
)


def shown(page):
    """Return how many candidates the filters leave."""
    return int(find(page, "#shown").text.split()[0])


def expected_costs(results, weights):
    costs = {}
    for history, rows in (
        (results.searched, ~results.reevaluated),
        (results.history, results.reevaluated),
    ):
        baseline = history.objectives[BASELINE]
        numbers = np.flatnonzero(rows)
        found = weighted_cost(history.objectives[numbers], baseline, np.array(weights))
        costs |= dict(zip(numbers.tolist(), found.tolist(), strict=True))
    return costs


def test_the_page_opens_without_a_complaint_and_loads_nothing(browser, page_path):
    browser.get("about:blank")
    browser.get_log("browser")
    browser.get(page_path.as_uri())

    assert browser.get_log("browser") == []
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0


def test_a_title_that_is_markup_is_shown_as_text(page):
    assert find(page, "h1").text == HOSTILE_TITLE
    assert page.title == HOSTILE_TITLE


@pytest.mark.parametrize("weights", [(1.0, 1.0, 1.0), (2.0, 0.5, 0.0), (0.0, 0.3, 1.7)])
def test_the_weights_rank_as_the_tables_do(page, results, weights):
    uncheck_front_only(page)
    for name, weight in zip(OBJECTIVES, weights, strict=True):
        page.execute_script(MOVE, f"weight-{name}", weight)
    rows = all_rows(page)
    expected = expected_costs(results, weights)

    assert len(rows) > 1
    assert [cost for _, cost in rows] == sorted(cost for _, cost in rows)
    assert all(cost == pytest.approx(expected[number], rel=1e-12) for number, cost in rows)


def test_the_studys_weights_give_the_tables_cost(page, results):
    rows = all_rows(page)

    assert all(cost == pytest.approx(results.weighted_cost[n], rel=1e-12) for n, cost in rows)


def test_weights_that_are_all_zero_are_refused_in_words(page):
    for name in OBJECTIVES[1:]:
        page.execute_script(MOVE, f"weight-{name}", 0.0)
    before = page.execute_script(COSTS)
    page.execute_script(MOVE, f"weight-{OBJECTIVES[0]}", 0.0)

    assert "above zero" in find(page, "#weights-note").text
    assert page.execute_script(COSTS) == before


def test_only_the_front_is_shown_at_first_and_the_others_on_request(page, results):
    front = shown(page)
    uncheck_front_only(page)

    assert front == int(results.on_front.sum())
    assert shown(page) == int(results.feasible.sum())


def test_a_constraint_that_is_not_asked_for_lets_its_failures_in(page, results):
    uncheck_front_only(page)
    page.execute_script("document.querySelector('details').open = true")
    for box in page.find_elements(By.CSS_SELECTOR, "#constraints input"):
        box.click()

    assert shown(page) == len(results)


@pytest.mark.parametrize(
    "column", ["feel_deg_per_mps2", "stiffness_nm_per_deg", "rider_spread_ratio"]
)
def test_a_range_hides_what_lies_outside(page, results, facts, column):
    uncheck_front_only(page)
    values = unpacked(facts["columns"][column])
    middle = values.min() + 0.3 * (values.max() - values.min())
    above = results.feasible & (values >= middle)
    page.execute_script(MOVE, f"least-{column}", 300)
    n_above = shown(page)
    page.execute_script(MOVE, f"least-{column}", 0)
    page.execute_script(MOVE, f"most-{column}", 300)

    assert n_above == above.sum()
    assert shown(page) == (results.feasible & (values <= middle)).sum()


@pytest.mark.parametrize("n_known", [0, 1])
def test_a_number_that_is_not_known_hides_no_candidate_until_a_range_is_asked(
    browser, results, facts, tmp_path, n_known
):
    column = "feel_deg_per_mps2"
    values = np.full(len(unpacked(facts["rows"]["number"])), np.nan)
    values[:n_known] = 1.5  # the baseline's
    unknown = {**facts, "columns": {**facts["columns"], column: packed(values, "f4")}}
    write_page(tmp_path / "page.html", unknown)
    browser.get((tmp_path / "page.html").as_uri())
    settle(browser)
    browser.get_log("browser")
    uncheck_front_only(browser)

    assert shown(browser) == int(results.feasible.sum())
    browser.execute_script(MOVE, f"least-{column}", 300)
    assert shown(browser) == (n_known if results.feasible[BASELINE] else 0)
    assert browser.get_log("browser") == []


def test_every_pair_of_objectives_is_drawn_and_one_of_the_readers_own(page):
    titles = page.execute_script(
        "return [...document.querySelectorAll('#scatter .plot')]"
        ".map((plot) => [plot.layout.xaxis.title.text, plot.layout.yaxis.title.text].join())"
    )

    assert len(titles) == len(list(itertools.combinations(OBJECTIVES, 2))) + 1
    assert len(set(titles)) == len(titles)


def test_the_nose_down_rate_is_drawn_by_its_power_of_ten_and_told_as_it_is(page, results):
    up, rates, ticks, told = page.execute_script(
        "const plot = document.getElementById('scatter-1');"
        "const front = plot.data.find((trace) => trace.name === 'front');"
        "const {tickvals, ticktext} = plot.layout.yaxis;"
        "return [front.y, front.customdata, [tickvals, ticktext], front.text]"
    )
    place = OBJECTIVES.index("nose_downs_per_1000_km")
    known = results.history.objectives[rates, place]

    np.testing.assert_allclose(up, np.log10(np.maximum(known, 1e-4)), atol=1e-6)
    assert dict(zip(*ticks, strict=True))[-2] == "0.01"
    assert float(told[0].split(": ")[-1].split()[0]) == pytest.approx(known[0], rel=0.06)


def test_a_pick_is_chosen_by_its_button_in_all_plots(page, results):
    number = results.picks["calmest_level"]
    find(page, "[data-pick=calmest_level]").click()
    settle(page)
    level_error = OBJECTIVES.index("level_error_deg")

    assert rings(page)[0][0] == results.history.objectives[number, level_error]
    assert str(number) in find(page, "#candidate-title").text
    assert find(page, "#export-command").get_attribute("value").endswith(f" {number}")


def test_a_click_on_a_point_chooses_it(page, results):
    page.execute_script("document.getElementById('scatter-0').scrollIntoView({block: 'center'})")
    other = results.picks["fewest_nose_downs"]
    x, y = page.execute_script(
        "const plot = document.getElementById('scatter-0'), box = plot.getBoundingClientRect();"
        "const place = plot.data.find((t) => t.name === 'front').customdata.indexOf(arguments[0]);"
        "const {x, y} = plot.data.find((trace) => trace.name === 'front');"
        "const {xaxis, yaxis} = plot._fullLayout;"
        "return [box.x + xaxis._offset + xaxis.d2p(x[place]),"
        " box.y + yaxis._offset + yaxis.d2p(y[place])]",
        other,
    )
    click = ActionChains(page)
    click.w3c_actions.pointer_action.move_to_location(int(x), int(y))
    click.w3c_actions.pointer_action.click()
    click.perform()

    WebDriverWait(page, PATIENCE_S).until(
        lambda seen: f"{other}" in find(seen, "#candidate-title").text
    )


def test_the_arrow_keys_choose_the_next_in_the_order(page):
    uncheck_front_only(page)
    rows = page.execute_script(COSTS)
    find(page, "#order tbody button").send_keys(Keys.ARROW_DOWN)

    assert page.switch_to.active_element.text.endswith(("1", str(rows[1][0]), f"({rows[1][0]})"))
    assert find(page, "#order [aria-current=true]").get_attribute("data-number") == str(rows[1][0])


def test_everything_that_acts_is_reached_by_the_tab_key(page):
    page.execute_script("document.querySelector('.skip').focus()")
    reached = set()
    for _ in range(70):
        ActionChains(page).send_keys(Keys.TAB).perform()
        reached.add(page.switch_to.active_element.get_attribute("id"))

    wanted = {
        "look",
        "weights-reset",
        "front-only",
        "filters-reset",
        "csv",
        "find-number",
        "axis-x",
    }
    assert wanted | {"pin", "copy-link"} <= reached
    assert {"copy-export", "parallel-what", *(f"weight-{name}" for name in OBJECTIVES)} <= reached


def test_a_candidate_is_shown_with_its_rides_margins_and_traces(page, facts):
    assert len(page.find_elements(By.CSS_SELECTOR, ".heat")) == len(OBJECTIVES)
    searched = page.find_elements(By.CSS_SELECTOR, ".parameters tbody tr")
    others = page.find_elements(By.CSS_SELECTOR, ".kept tbody tr")
    assert len(searched) == sum("low" in parameter for parameter in facts["parameters"])
    assert len(searched) + len(others) == len(facts["parameters"])
    assert len(page.find_elements(By.CSS_SELECTOR, ".ride-chooser button")) == 3
    assert find(page, ".margins").text.count("pupil_40") == 3


def test_the_export_command_is_copied(page):
    page.execute_cdp_cmd(
        "Browser.grantPermissions",
        {"permissions": ["clipboardReadWrite", "clipboardSanitizedWrite"]},
    )
    find(page, "#copy-export").click()

    WebDriverWait(page, PATIENCE_S).until(lambda seen: "Copied" in find(seen, ".command").text)
    assert find(page, "#export-command").get_attribute("value").startswith("levelgain export '")


def test_a_phone_shows_the_page_without_scrolling_sideways(page):
    size(page, *PHONE_PX)
    page.refresh()
    settle(page)

    width = page.execute_script("return document.documentElement.scrollWidth")
    assert width <= PHONE_PX[0]


def test_the_page_prints_on_paper_within_its_width(page):
    page.execute_script("window.dispatchEvent(new Event('beforeprint'))")
    widths = page.execute_script(
        "return [...document.querySelectorAll('#scatter .plot')].map((plot) => plot.layout.width)"
    )
    page.execute_script("window.dispatchEvent(new Event('afterprint'))")
    printed = page.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})

    assert all(width <= 350 for width in widths)
    assert base64.b64decode(printed["data"]).startswith(b"%PDF")


def test_a_box_drawn_in_one_plot_filters_all_of_them(page):
    uncheck_front_only(page)
    before = shown(page)
    page.execute_script("document.getElementById('scatter-0').scrollIntoView({block: 'center'})")
    find(page, "#scatter-0 [data-val=select]").click()
    left, top, width, height = page.execute_script(
        "const box = document.querySelector('#scatter-0 .nsewdrag').getBoundingClientRect();"
        "return [box.x, box.y, box.width, box.height]"
    )
    drag = ActionChains(page)
    pointer = drag.w3c_actions.pointer_action
    pointer.move_to_location(int(left + 2), int(top + 2))
    pointer.pointer_down()
    pointer.move_to_location(int(left + width / 3), int(top + height - 3))
    pointer.pointer_up()
    drag.perform()
    settle(page)
    boxed = shown(page)
    find(page, "#box-clear").click()

    assert 0 < boxed < before
    assert shown(page) == before


def test_a_candidate_without_traces_says_how_to_get_them(browser, results, tmp_path):
    numbers = np.flatnonzero(~results.on_front & results.feasible)
    facts = page_data(results)
    del facts["traces"][str(results.picks["fewest_nose_downs"])]
    write_page(tmp_path / "page.html", facts)
    browser.get((tmp_path / "page.html").as_uri() + f"#{results.picks['fewest_nose_downs']}")
    settle(browser)
    untraced = find(browser, "#candidate-body").text
    browser.get("about:blank")
    browser.get((tmp_path / "page.html").as_uri() + f"#{numbers[-1]}")
    settle(browser)

    assert f"--with {results.picks['fewest_nose_downs']}" in untraced
    assert f"--with {numbers[-1]}" in find(browser, "#candidate-body").text
    assert find(browser, "#untraced-count").is_displayed()


def test_a_study_without_a_front_shows_what_is_nearest(browser, results, tmp_path):
    none = np.zeros(len(results), dtype=bool)
    failing = dataclasses.replace(
        results,
        history=dataclasses.replace(
            results.history, constraints=np.abs(results.history.constraints) + 1.0
        ),
        feasible=none,
        on_front=none,
        picks={},
    )
    write_page(tmp_path / "page.html", page_data(failing))
    browser.get((tmp_path / "page.html").as_uri())
    settle(browser)

    assert "None meets every constraint" in find(browser, "#counts").text
    assert "FAILS" in find(browser, "#candidate-body").text
    assert shown(browser) == len(results)
    assert browser.get_log("browser") == []


def test_a_candidate_is_found_by_its_number_and_a_stranger_is_refused_in_words(page, results):
    number = results.picks["fewest_nose_downs"]
    field = find(page, "#find-number")
    field.send_keys("999999", Keys.ENTER)
    refused = find(page, "#find-note").text
    field.clear()
    field.send_keys(str(number), Keys.ENTER)

    assert "not a candidate on this page" in refused
    assert find(page, "#find-note").text == ""
    assert str(number) in find(page, "#candidate-title").text


def test_the_parallel_lines_run_over_the_searched_parameters_and_over_the_measures(page, facts):
    names = "return document.getElementById('parallel').layout.xaxis.ticktext.length"
    parameters = page.execute_script(names)
    find(page, "#parallel-what option[value=measures]").click()
    settle(page)

    assert parameters == sum("low" in parameter for parameter in facts["parameters"])
    known = [values[~np.isnan(values)] for values in map(unpacked, facts["columns"].values())]
    differ = sum(len(values) < 2 or np.ptp(values) > 0.0 for values in known)
    assert page.execute_script(names) == len(OBJECTIVES) + 1 + differ


def test_an_axis_of_the_readers_own_follows_the_weights(page):
    find(page, "#axis-y option[value=weighted_cost_ratio]").click()
    settle(page)
    before = rings(page)[3]
    page.execute_script(MOVE, f"weight-{OBJECTIVES[0]}", 0.0)
    settle(page)

    assert rings(page)[3] != before
