"""A small finished study, its page, and a browser to look at it."""

import shutil
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from optimizer.analysis.results import read_results
from optimizer.execution.asked_candidates import Asked
from optimizer.execution.run import reevaluate_front, run_study
from optimizer.reports.page import page_data, write_page
from optimizer.study.load import load_study
from tests.optimizer.programs import missing
from tests.optimizer.reports.page.browsing import DESK_PX, PATIENCE_S, settle, size
from tests.optimizer.small_study import write_small_study

HOSTILE_TITLE = "Two <b>borrowers</b> </script><script>document.title = 'broken in'</script> & co"


def never():
    return False


def run_small_study(folder, n_candidates=36):
    """Write and run a small study, its re-evaluation included; return it."""
    title = ("Two borrowers on three short courses", HOSTILE_TITLE)
    study = load_study(write_small_study(folder, title))
    run_study(
        study,
        n_candidates=n_candidates,
        n_jobs=2,
        on_generation=lambda _: None,
        stop=never,
        asked=Asked(n_candidates=n_candidates),
    )
    reevaluate_front(study, n_jobs=2, advance=lambda *_: None, stop=never)
    return study


@pytest.fixture(scope="session")
def results(tmp_path_factory):
    return read_results(run_small_study(tmp_path_factory.mktemp("studies") / "small <study>"))


@pytest.fixture(scope="session")
def facts(results):
    return page_data(results)


@pytest.fixture(scope="session")
def page_path(facts, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("pages") / "page.html"
    write_page(path, facts)
    return path


@pytest.fixture(scope="session")
def browser():
    """Return a headless Chromium."""
    program = shutil.which("chromium") or shutil.which("google-chrome")
    driver = shutil.which("chromedriver")
    if not (program and driver):
        missing("there is no Chromium with its driver here")
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for switch in ("headless=new", "no-sandbox", "disable-dev-shm-usage", "disable-gpu"):
        options.add_argument(f"--{switch}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    opened = webdriver.Chrome(options=options, service=Service(driver))
    opened.set_script_timeout(PATIENCE_S)
    yield opened
    opened.quit()


@pytest.fixture
def page(browser, page_path):
    """Return the browser with the page freshly opened on a desk's screen."""
    size(browser, *DESK_PX)
    browser.get("about:blank")
    browser.get(page_path.as_uri())
    settle(browser)
    browser.get_log("browser")
    yield browser
    complaints = [entry["message"] for entry in browser.get_log("browser")]
    assert complaints == []
