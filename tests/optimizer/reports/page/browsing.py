"""What the tests of the page do in a browser."""

from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

PHONE_PX = (390, 844)
DESK_PX = (1920, 1080)
PATIENCE_S = 300.0  # so that a busy machine is no failure

COSTS = (
    "return [...document.querySelectorAll('#order tbody tr')]"
    ".map((row) => [Number(row.dataset.number), Number(row.dataset.cost)])"
)


def size(browser, width, height):
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
    )


def settle(page):
    """Wait until every plot is drawn."""
    WebDriverWait(page, PATIENCE_S).until(
        lambda seen: seen.execute_script("return document.documentElement.dataset.drawn")
    )


def rings(page, *, name="chosen"):
    """Return where each plot has the ring around a candidate, x and y."""
    return page.execute_script(
        "return [...document.querySelectorAll('#scatter .plot')].map((plot) => plot.layout.shapes"
        ".filter((shape) => shape.name === arguments[0])"
        ".map((shape) => [shape.xanchor, shape.yanchor])[0])",
        name,
    )


def find(page, selector):
    return page.find_element(By.CSS_SELECTOR, selector)


def uncheck_front_only(page):
    box = find(page, "#front-only")
    if box.is_selected():
        box.click()


def all_rows(page):
    while find(page, "#more").is_displayed():
        find(page, "#more").click()
    return page.execute_script(COSTS)
