"""The class's page of 300 runs in a browser: opens quietly, finds, filters and picks."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from matchvision.records.classbook import Doubt, HandedIn
from matchvision.records.repeats import Reading
from matchvision.records.rubric import Rubric
from matchvision.repeats import compare_readings
from matchvision.report.repeatspage import write_repeats
from matchvision.season.book import fill_book
from matchvision.season.tables import write_book
from tests.season.made import TEAMS, invented_played

pytest.importorskip("selenium")

from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from tests.browser.accessibility import serious_faults
from tests.browser.chromium import CHROMIUM, DRIVER, NEEDS_CHROMIUM, QUIET

pytestmark = [
    pytest.mark.browser,
    NEEDS_CHROMIUM,
]


DARK = {"features": [{"name": "prefers-color-scheme", "value": "dark"}]}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages of a class of 300 runs, of one of a dozen with everything a class can have, and of runs side by side."""
    folder = tmp_path_factory.mktemp("class")
    for name, runs in (("out", 300), ("few", 12)):
        season, played = invented_played(folder / f"{name}-season", folder / name, runs)
        handed = (HandedIn("heron", "late", "2031-05-02T18:00:01+00:00", "heron-1.toml", "ab" * 32),)
        book = fill_book(season, played, Rubric(), handed if name == "few" else ())
        if name == "few":
            book = replace(book, doubts=tuple(Doubt(f"r{k}", k, ("Why it may be so.",)) for k in (3, 2, 1)))
        write_book(book, folder / name)
    groups = [
        [Reading(f"{day} {k}", "heron", "mean pull", "N", value + k**2 / 9, 0.1, 1) for k in range(4)]
        for day, value in (("monday", 10.0), ("tuesday", 12.0))
    ]
    names = [[one.run for one in group] for group in groups]
    write_repeats(compare_readings(groups), names, ["first slip"], folder)
    return folder


@pytest.fixture(scope="module")
def page(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in (*QUIET, f"--user-data-dir={tmp_path_factory.mktemp('browser')}", "--window-size=1366,768"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(str(DRIVER)))
    browser.get((folder / "out" / "season.html").as_uri())
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


def test_a_long_list_is_folded_and_summed_up(page: webdriver.Chrome) -> None:
    runs = page.find_element(By.ID, "all-runs")
    assert runs.get_attribute("open") is None
    assert runs.find_element(By.TAG_NAME, "summary").text == "All 300 runs: 300 decided"
    assert page.execute_script("return document.documentElement.scrollHeight") < 8 * 768


def test_runs_are_found_by_words_at_once(page: webdriver.Chrome) -> None:
    field = page.find_element(By.ID, "find")
    field.send_keys("heron plover")
    assert page.find_element(By.ID, "all-runs").get_attribute("open")  # what was asked for is not left folded
    shown = page.find_elements(By.CSS_SELECTOR, "#runs tbody tr:not([hidden])")
    assert 0 < len(shown) < 300
    assert all("heron" in row.text and "plover" in row.text for row in shown[:5])
    assert page.find_element(By.ID, "found").text == f"{len(shown)} of 300"
    field.send_keys(Keys.CONTROL, "a", Keys.BACKSPACE)
    assert page.find_element(By.ID, "found").text == ""
    Select(page.find_element(By.ID, "state")).select_by_visible_text("decided")
    assert page.find_element(By.ID, "found").text == "300 of 300"


def test_runs_are_sorted_by_keyboard(page: webdriver.Chrome) -> None:
    """By numbers, not by their digits; a second press turns the order round, and a screen reader is told."""
    read = "return [...document.querySelectorAll('#runs tbody tr')].map(row => Number(row.cells[5].dataset.value))"
    page.execute_script("document.getElementById('all-runs').open = true")
    margins = page.execute_script(read)
    head = page.find_elements(By.CSS_SELECTOR, "#runs thead th")[5]
    assert head.text.startswith("outcome")
    for key, order, turned in ((Keys.ENTER, "ascending", False), (Keys.SPACE, "descending", True)):
        head.find_element(By.TAG_NAME, "button").send_keys(key)
        assert head.get_attribute("aria-sort") == order
        assert page.execute_script(read) == sorted(margins, reverse=turned) != margins


@pytest.mark.parametrize("width", [390, 1366])
def test_axe_finds_no_serious_fault_on_the_class_pages(page: webdriver.Chrome, folder: Path, width: int) -> None:
    """In the light; the dark is other colours only."""
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 844, "deviceScaleFactor": 1, "mobile": width < 600},
    )
    try:
        for name in ("few/season.html", f"few/teams/{TEAMS[0]}.html", "compare.html"):
            page.get((folder / name).as_uri())
            assert serious_faults(page) == [], name
            page.execute_cdp_cmd("Emulation.setEmulatedMedia", DARK)
            assert serious_faults(page, ["color-contrast"]) == [], f"{name} in the dark"
            page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        page.get((folder / "out" / "season.html").as_uri())


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
