"""The live view: this machine only, and the same page as it grows."""

import http.client
import json
import threading

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from optimizer.base.errors import UserInputError
from optimizer.execution.run import run_study
from optimizer.reports.page import HOST, LiveStudy, serve
from optimizer.study.load import load_study
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
    assert there.wait(10)
    return found[0]


@pytest.fixture(scope="module")
def live(tmp_path_factory):
    study = run_small_study(tmp_path_factory.mktemp("live") / "study", n_candidates=12)
    server = served(study.folder)
    yield study, server
    server.shutdown()


def ask(server, path, *, host=None, method="GET"):
    connection = http.client.HTTPConnection(HOST, server.server_port, timeout=20)
    named = {"Host": host or f"{HOST}:{server.server_port}"}
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
    "path", ["/study.toml", "/../study.toml", "/candidate/99999.json", "/candidate/-1.json"]
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


def test_a_study_that_is_not_run_yet_is_waited_for(browser, tmp_path):
    folder = write_small_study(tmp_path / "study")
    server = served(folder)
    browser.get(f"http://{HOST}:{server.server_port}/")
    assert "run the study first" in browser.find_element(By.TAG_NAME, "body").text

    run_study(
        load_study(folder), n_candidates=12, n_jobs=1, on_generation=lambda _: None, stop=never
    )

    WebDriverWait(browser, 20).until(
        lambda seen: (
            seen.title != "Waiting for the study"
            and "12 candidates ridden" in seen.find_element(By.ID, "counts").text
        )
    )
    server.shutdown()
    browser.get_log("browser")


def test_a_port_in_use_is_one_line(live):
    with pytest.raises(UserInputError, match="--port"):
        serve(LiveStudy(live[0].folder), port=live[1].server_port, ready=lambda _: None)


def test_the_page_grows_with_the_study_and_keeps_the_choice(live, browser):
    study, server = live
    browser.get(f"http://{HOST}:{server.server_port}/#3")
    WebDriverWait(browser, 20).until(
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

    WebDriverWait(browser, 20).until(
        lambda seen: "24 candidates ridden" in seen.find_element(By.ID, "counts").text
    )
    assert browser.find_element(By.ID, "candidate-title").text.endswith("3")
    assert browser.get_log("browser") == []
