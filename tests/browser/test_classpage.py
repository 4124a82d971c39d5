"""The class's page of 300 runs in a browser: opens quietly, finds, filters and picks."""

from collections.abc import Iterator

import pytest

from matchvision.records.rubric import Rubric
from matchvision.season.book import fill_book
from matchvision.season.tables import write_book
from tests.season.made import TEAMS, invented_played

pytest.importorskip("selenium")

from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from tests.browser.chromium import CHROMIUM, DRIVER, NEEDS_CHROMIUM, QUIET

pytestmark = [
    pytest.mark.browser,
    NEEDS_CHROMIUM,
]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    folder = tmp_path_factory.mktemp("class")
    season, played = invented_played(folder / "s", folder / "out", 300)
    path = write_book(fill_book(season, played, Rubric(), ()), folder / "out")
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in (*QUIET, f"--user-data-dir={tmp_path_factory.mktemp('browser')}", "--window-size=1366,768"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(str(DRIVER)))
    browser.get(path.as_uri())
    yield browser
    browser.quit()


def test_three_hundred_runs_open_without_a_word(page: webdriver.Chrome) -> None:
    assert page.get_log("browser") == []  # type: ignore[no-untyped-call]
    assert len(page.find_elements(By.CSS_SELECTOR, "#runs tbody tr")) == 300
    width, shown = page.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert width <= shown


@pytest.mark.parametrize("width", [390, 820, 1440])
def test_nothing_sticks_out_sideways(page: webdriver.Chrome, width: int) -> None:
    size = {"width": width, "height": 844, "deviceScaleFactor": 1, "mobile": width < 600}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        assert page.execute_script("return document.documentElement.scrollWidth") <= width
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_runs_are_found_by_words_at_once(page: webdriver.Chrome) -> None:
    field = page.find_element(By.ID, "find")
    field.send_keys("heron plover")
    shown = page.find_elements(By.CSS_SELECTOR, "#runs tbody tr:not([hidden])")
    assert 0 < len(shown) < 300
    assert all("heron" in row.text and "plover" in row.text for row in shown[:5])
    assert page.find_element(By.ID, "found").text == f"{len(shown)} of 300"


def test_a_quantity_and_a_team_can_be_picked(page: webdriver.Chrome) -> None:
    quantities = Select(page.find_element(By.ID, "quantity"))
    assert {o.text for o in quantities.options} == {"distance towards home", "peak speed", "peak pull"}
    for option in ("peak speed", "peak pull"):
        quantities.select_by_visible_text(option)
        (figure,) = page.find_elements(By.CSS_SELECTOR, "figure.picture:not([hidden])")
        assert figure.get_attribute("data-quantity") == option
    Select(page.find_element(By.ID, "team")).select_by_visible_text(TEAMS[0])
    picked = page.find_elements(By.CSS_SELECTOR, "figure.picture:not([hidden]) .pair.me")
    assert picked
    assert all(pair.get_attribute("data-team") == TEAMS[0] for pair in picked[:5])
