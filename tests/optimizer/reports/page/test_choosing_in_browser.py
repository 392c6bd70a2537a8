"""Choosing, comparing and taking along on the page: what follows a click or a key."""

import csv
import io
import re

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from objectives import OBJECTIVES
from optimizer.reports.page import write_page
from tests.optimizer.reports.page.browsing import COSTS, PHONE_PX, find, rings, settle, size

# The text of the file that a click would save.
DOWNLOADED = """
const done = arguments[0], make = URL.createObjectURL;
URL.createObjectURL = (blob) => {
  blob.text().then(done);
  URL.createObjectURL = make;
  return make(blob);
};
document.getElementById("csv").click();
"""


def rows(page):
    return page.find_elements(By.CSS_SELECTOR, "#order tbody tr")


def test_a_chosen_candidate_is_there_before_anything_is_drawn(page):
    number, title, table = page.execute_script(
        "const row = document.querySelectorAll('#order tbody tr')[1]; row.click();"
        "return [row.dataset.number, document.getElementById('candidate-title').textContent,"
        " document.querySelectorAll('#candidate .objectives tbody tr').length]"
    )

    assert number in title
    assert table >= len(OBJECTIVES)


def test_a_clicked_row_has_the_focus_and_the_arrow_keys_go_on_from_it(page):
    numbers = [number for number, _ in page.execute_script(COSTS)]
    rows(page)[0].click()
    page.switch_to.active_element.send_keys(Keys.ARROW_DOWN)

    assert page.switch_to.active_element.text.endswith((str(numbers[1]), f"({numbers[1]})"))
    assert str(numbers[1]) in find(page, "#candidate-title").text


def test_two_pinned_candidates_are_compared_and_their_link_leads_back(page, results, page_path):
    numbers = [number for number, _ in page.execute_script(COSTS) if number][:2]
    for number in numbers:
        page.execute_script(f"document.querySelector('[data-number=\"{number}\"]').click()")
        find(page, "#pin").click()
    link = page.current_url
    page.get("about:blank")
    page.get(link)
    settle(page)
    heads = [head.text for head in page.find_elements(By.CSS_SELECTOR, ".pinned thead th")]
    first = find(page, ".pinned tbody tr").text.split()

    assert link.endswith(f"#{numbers[1]}&pinned={numbers[0]},{numbers[1]}")
    assert [str(number) in head for number, head in zip(numbers, heads[2:], strict=True)] == [
        True
    ] * 2
    shown = [float(number) for number in first[-3:]]
    expected = [results.history.objectives[number, 0] for number in numbers]
    assert shown[1:] == pytest.approx(expected, rel=1e-3)
    assert rings(page, name="A")[0][0] == pytest.approx(expected[0])


def test_the_shown_candidates_are_saved_as_a_table_with_numbers_in_full(page, results):
    table = list(csv.DictReader(io.StringIO(page.execute_async_script(DOWNLOADED))))
    numbers = [int(row["number"]) for row in table]

    assert sorted(numbers) == results.on_front.nonzero()[0].tolist()
    for row, number in zip(table, numbers, strict=True):
        for place, name in enumerate(OBJECTIVES):
            assert float(row[name]) == results.history.objectives[number, place]


def test_a_name_that_a_spreadsheet_would_run_is_saved_as_text(browser, facts, results, tmp_path):
    number = results.picks["lowest_cost"]
    hostile = {
        **facts,
        "picks": {'=cmd|"x", y': number},
        "pick_marks": {'=cmd|"x", y': ["#d55e00", "circle"]},
    }
    write_page(tmp_path / "page.html", hostile)
    browser.get((tmp_path / "page.html").as_uri())
    settle(browser)
    browser.get_log("browser")
    table = csv.DictReader(io.StringIO(browser.execute_async_script(DOWNLOADED)))

    assert [row["called"] for row in table if row["number"] == str(number)] == [
        f'\'=cmd|"x", y ({number})'
    ]


def test_it_is_said_where_the_candidates_are_that_are_not_shown(page, results):
    said = find(page, "#shown").text
    here = len(results) - int(results.rejected_early.sum())

    assert f"of {here} candidates on this page" in said
    assert f"hide the other {here - int(results.on_front.sum())}" in said


def test_the_points_under_the_pointer_name_axes_and_units(page):
    hovers = page.execute_script(
        "return [...document.querySelectorAll('#scatter .plot')]"
        ".map((plot) => plot.data.find((trace) => trace.name === 'front').text[0])"
    )

    assert re.search(r"<br>level error: [0-9.]+ deg<br>", hovers[0])
    assert all(hover.count(": ") == 2 for hover in hovers)


def test_the_look_is_switched_and_the_plots_follow(page):
    for look, dark in (("dark", True), ("light", False)):
        find(page, f"#look option[value={look}]").click()
        settle(page)
        page_color, plot_color = page.execute_script(
            "return [getComputedStyle(document.documentElement).backgroundColor,"
            " document.getElementById('scatter-0').layout.paper_bgcolor]"
        )
        red = int(page_color.split("(")[1].split(",")[0])

        assert (red < 100) is dark
        assert (int(plot_color[1:3], 16) < 100) is dark
    find(page, "#look option[value=system]").click()


def test_on_a_phone_a_sheet_comes_up_and_goes_by_the_escape_key(page):
    size(page, *PHONE_PX)
    page.refresh()
    settle(page)
    hidden = find(page, "#candidate").is_displayed()
    page.execute_script("document.querySelector('#order tbody tr').click()")
    shown = find(page, "#candidate").is_displayed()
    page.switch_to.active_element.send_keys(Keys.ESCAPE)

    assert (hidden, shown) == (False, True)
    assert "open" not in page.execute_script(
        "return {...arguments[0].dataset}", find(page, "#candidate")
    )


def test_the_history_of_the_search_is_drawn_with_its_axes_named(page, facts):
    titles = page.execute_script(
        "const { layout } = document.getElementById('history');"
        "return ['xaxis', 'yaxis', 'yaxis2', 'yaxis3'].map((name) => layout[name].title.text)"
    )

    assert titles[0] == "candidates ridden / number"
    assert all(" / " in title.replace("<br>", " ") for title in titles)
