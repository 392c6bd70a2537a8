"""The live view: this machine only, and the same page as it grows."""

import http.client
import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from optimizer.base.errors import UserInputError
from optimizer.execution.run import run_study
from optimizer.reports.page import HOST, LiveStudy, serve
from optimizer.reports.page.pace import Pace
from optimizer.study.load import load_study
from tests.optimizer.reports.page.browsing import PATIENCE_S
from tests.optimizer.reports.page.conftest import never, run_small_study
from tests.optimizer.small_study import write_small_study


def served(folder):
    """Serve a study from another thread; return the server."""
    there, found = threading.Event(), []

    def ready(server):
        found.append(server)
        there.set()

    thread = threading.Thread(
        target=serve, args=(LiveStudy(folder),), kwargs={"port": 0, "ready": ready}, daemon=True
    )
    thread.start()
    there.wait()
    return found[0]


@pytest.fixture(scope="module")
def live(tmp_path_factory):
    study = run_small_study(tmp_path_factory.mktemp("live") / "study", n_candidates=12)
    server = served(study.folder)
    yield study, server
    server.shutdown()


def ask(server, path, *, host=None, method="GET", site=None):
    connection = http.client.HTTPConnection(HOST, server.server_port)
    named = {"Host": host or f"{HOST}:{server.server_port}"}
    named |= {"Sec-Fetch-Site": site} if site else {}
    connection.request(method, path, headers=named)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer.status, content


def test_only_the_loopback_address_is_bound(live):
    assert live[1].server_address[0] == "127.0.0.1"


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1", "127.0.0.1:1", "localhost.x:80"]
)
def test_a_page_asked_for_by_another_name_is_refused(live, host):
    assert ask(live[1], "/study.json", host=host)[0] == 403


@pytest.mark.parametrize(
    "path",
    [
        "/study.toml",
        "/../study.toml",
        "/candidate/99999.json",
        "/candidate/-1.json",
        "/ride/99999/0.json",
        "/ride/0/99999.json",
        "/ride/0/-1.json",
        "/ride/0/0",
    ],
)
def test_nothing_else_is_served(live, path):
    assert ask(live[1], path)[0] == 404


def test_nothing_can_be_changed_from_the_page(live):
    assert ask(live[1], "/", method="POST")[0] == 501


def test_the_traces_of_any_candidate_are_ridden_on_demand(live):
    status, content = ask(live[1], "/candidate/5.json")

    assert status == 200
    facts = json.loads(content)
    assert set(facts["own"]) == set(facts["base"])
    assert len(facts["own"]) == 3


def test_any_ride_of_any_candidate_is_simulated_beside_the_baseline(live):
    study, server = live
    place = len(study.rides) - 1
    status, content = ask(server, f"/ride/5/{place}.json")
    facts = json.loads(content)

    assert status == 200
    assert [set(facts[whose]) for whose in ("own", "base")] == [{str(place)}] * 2
    assert facts["own"] != facts["base"]


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_page_in_the_same_browser_can_ask_for_no_ride(live, site):
    assert ask(live[1], "/ride/5/0.json", site=site)[0] == 403
    assert ask(live[1], "/ride/5/0.json", site="same-origin")[0] == 200


def test_one_ride_is_simulated_at_a_time(live, monkeypatch):
    server = live[1]
    now, most = [0], [0]

    def slow(*_arguments):
        now[0] += 1
        most[0] = max(most[0], now[0])
        time.sleep(0.05)
        now[0] -= 1
        return {}

    monkeypatch.setattr("optimizer.reports.page.live.candidate_traces", slow)
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda _: ask(server, "/ride/5/0.json")[0], range(4)))

    assert answers == [200] * 4
    assert most == [1]


def test_a_ride_that_waits_too_long_is_told_to_come_again(live, monkeypatch):
    monkeypatch.setattr("optimizer.reports.page.live._MOST_WAIT_S", 0.01)
    with live[1].live._riding:
        assert ask(live[1], "/ride/5/0.json")[0] == 503


def test_the_progress_is_that_of_the_store(live):
    _, server = live
    progress = json.loads(ask(server, "/version.json")[1])["progress"]

    # The run was asked for 12 candidates, the study file for more.
    assert progress == {"done": 12, "wanted": 12, "running": False, "left_s": None}


def test_the_time_left_follows_the_pace_of_the_generations_seen():
    times = iter([0.0, 50.0, 100.0, 105.0, 200.0])
    pace = Pace(clock=lambda: next(times))
    seen = [pace.seen(n_done, True, n_wanted=96)["left_s"] for n_done in (12, 24, 36, 36, 96)]

    # 12 candidates in 50 s from the second look on; the first generation came at any time.
    assert seen == [None, None, pytest.approx(250.0), pytest.approx(245.0), None]


def test_a_study_that_is_not_run_yet_is_waited_for(browser, tmp_path):
    folder = write_small_study(tmp_path / "study")
    server = served(folder)
    browser.get(f"http://{HOST}:{server.server_port}/")
    assert "run the study first" in browser.find_element(By.TAG_NAME, "body").text

    run_study(
        load_study(folder), n_candidates=12, n_jobs=1, on_generation=lambda _: None, stop=never
    )

    WebDriverWait(browser, PATIENCE_S).until(
        lambda seen: (
            seen.title != "Waiting for the study"
            and "12 candidates ridden" in seen.find_element(By.ID, "counts").text
        )
    )
    server.shutdown()
    browser.get_log("browser")


def test_a_number_in_the_map_of_rides_shows_its_ride_where_a_server_simulates_it(live, browser):
    browser.get("about:blank")
    browser.get(f"http://{HOST}:{live[1].server_port}/#3")
    another = (
        "const known = document.querySelectorAll('.ride-chooser button').length;"
        "for (const button of document.querySelectorAll('.heat button')) {"
        "  button.click();"
        "  const now = [...document.querySelectorAll('.ride-chooser button')];"
        "  if (now.length > known) return now.at(-1).dataset.place;"
        "}"
    )
    asked = WebDriverWait(browser, PATIENCE_S).until(lambda seen: seen.execute_script(another))
    WebDriverWait(browser, PATIENCE_S).until(
        lambda seen: len(seen.find_elements(By.CSS_SELECTOR, "#ride .scene")) == 2
    )
    pressed = browser.find_element(By.CSS_SELECTOR, ".ride-chooser [aria-pressed=true]")

    assert pressed.get_attribute("data-place") == asked
    assert browser.get_log("browser") == []


def test_a_port_in_use_is_one_line(live):
    with pytest.raises(UserInputError, match="--port"):
        serve(LiveStudy(live[0].folder), port=live[1].server_port, ready=lambda _: None)


def test_the_page_grows_with_the_study_and_keeps_the_choice(live, browser):
    study, server = live
    browser.get(f"http://{HOST}:{server.server_port}/#3")
    WebDriverWait(browser, PATIENCE_S).until(
        lambda seen: seen.execute_script("return document.documentElement.dataset.drawn")
    )
    assert "12 candidates ridden" in browser.find_element(By.ID, "counts").text

    run_study(
        load_study(study.folder),
        n_candidates=24,
        n_jobs=1,
        on_generation=lambda _: None,
        stop=never,
    )

    WebDriverWait(browser, PATIENCE_S).until(
        lambda seen: "24 candidates ridden" in seen.find_element(By.ID, "counts").text
    )
    assert browser.find_element(By.ID, "candidate-title").text.endswith("3")
    assert browser.get_log("browser") == []
