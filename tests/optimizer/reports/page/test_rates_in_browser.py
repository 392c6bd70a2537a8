"""The nose-down rates of the chosen candidate on the page."""

import dataclasses

import numpy as np
import pytest
from selenium.webdriver.common.by import By

from objectives import OBJECTIVES
from optimizer.analysis.candidate import study_as_scored
from optimizer.analysis.nose_down_rates import nose_down_rates, objective_in_words
from optimizer.reports.page import page_data, write_page
from tests.optimizer.reports.page.browsing import all_rows, find, settle, uncheck_front_only

DASH = "\N{EN DASH}"


def test_the_nose_down_rates_of_all_riders_and_each_are_shown_with_their_intervals(page, results):
    number = results.picks["lowest_cost"]
    rates = nose_down_rates(study_as_scored(results, number), results.hard[number])
    rows = [row.text.split() for row in page.find_elements(By.CSS_SELECTOR, ".rates tbody tr")]

    assert [" ".join(row[:-3]) for row in rows] == list(rates["rider"])
    shown_rates = np.array([row[-3:] for row in rows], dtype=float)
    # A number below a thousandth is shown with two figures.
    by_rider = np.column_stack([rates[name] for name in rates if name != "rider"])
    assert shown_rates == pytest.approx(by_rider, rel=0.02)
    assert objective_in_words(results.study) in find(page, "#candidate-body").text


def test_a_rate_that_is_not_known_is_a_dash_and_its_candidate_the_last(browser, results, tmp_path):
    number = results.picks["lowest_cost"]
    objectives, hard = results.history.objectives.copy(), results.hard.copy()
    objectives[number, OBJECTIVES.index("nose_downs_per_1000_km")] = np.nan
    hard[number] = np.nan
    history = dataclasses.replace(results.history, objectives=objectives)
    unknown = dataclasses.replace(results, history=history, hard=hard)
    write_page(tmp_path / "page.html", page_data(unknown))
    browser.get("about:blank")
    browser.get((tmp_path / "page.html").as_uri() + f"#{number}")
    settle(browser)
    uncheck_front_only(browser)

    rows = all_rows(browser)
    assert rows[-1][0] == number
    costs = [cost for _, cost in rows[:-1]]
    assert costs == sorted(costs)
    last = browser.find_elements(By.CSS_SELECTOR, "#order tbody tr")[-1].text
    assert last.count(DASH) == 2
    table = find(browser, ".rates tbody").text.splitlines()
    assert [line[-6:] for line in table] == [f" {DASH} {DASH} {DASH}"] * len(table)
    assert "NaN" not in find(browser, "#candidate-body").text
    assert browser.get_log("browser") == []
