"""The page in a browser: opens from disk, quiet, without network, and moves through the run as it says."""

import base64
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchvision.footage import read_frames
from matchvision.records.results import Analysis
from matchvision.report import cut_stills, mark_clip, write_page, write_ruling
from matchvision.report.embedding import hold_clip
from matchvision.report.slots import fill_slots
from matchvision.report.wording import quantity
from tests.report.invented import invent_analysis

pytest.importorskip("selenium")
pytest.importorskip("axe_core_python")

from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from tests.browser.accessibility import serious_faults
from tests.browser.chromium import CHROMIUM, DRIVER, NEEDS_CHROMIUM, QUIET

pytestmark = [
    pytest.mark.browser,
    NEEDS_CHROMIUM,
]


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return invent_analysis("hitch-slips")


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in (*QUIET, f"--user-data-dir={tmp_path_factory.mktemp('browser')}", "--window-size=1366,768"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(str(DRIVER)))
    yield browser
    browser.quit()


@pytest.fixture(scope="module")
def folder(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("results")
    mark_clip(analysis, read_frames(analysis.clip), folder / "marked.mp4")
    write_page(analysis, folder)
    write_ruling(analysis, folder, cut_stills(analysis, lambda *part: read_frames(analysis.clip, *part)))
    return folder


@pytest.fixture
def page(driver: webdriver.Chrome, folder: Path) -> webdriver.Chrome:
    for kind in ("browser", "performance"):
        driver.get_log(kind)  # type: ignore[no-untyped-call]
    driver.get((folder / "report.html").as_uri())
    return driver


def text(page: webdriver.Chrome, query: str) -> str:
    return page.find_element(By.CSS_SELECTOR, query).text


def clock_s(page: webdriver.Chrome) -> float:
    return float(text(page, "#time").split()[0].replace("−", "-"))


def press(page: webdriver.Chrome, *keys: str) -> None:
    ActionChains(page).send_keys(*keys).perform()


def test_opens_quietly_and_asks_for_nothing_from_outside(page: webdriver.Chrome) -> None:
    assert page.get_log("browser") == []  # type: ignore[no-untyped-call]
    asked = []
    for entry in page.get_log("performance"):  # type: ignore[no-untyped-call]
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.append(message["params"]["request"]["url"])
    assert asked
    assert all(url.startswith("file:///") for url in asked)
    assert {url.rsplit("/", maxsplit=1)[1] for url in asked} <= {"report.html", "marked.mp4"}


def test_shows_the_deciding_moment_with_its_numbers(page: webdriver.Chrome, analysis: Analysis) -> None:
    assert clock_s(page) == pytest.approx(6.0, abs=0.02)
    assert analysis.motion.rope is not None
    frame = int(abs(analysis.motion.clip_s - analysis.clock.end_clip_s).argmin())
    heron = analysis.motion.machines["heron"]
    values = {e.get_attribute("data-chart"): e.text for e in page.find_elements(By.CSS_SELECTOR, ".now dd")[:2]}
    assert values["speed"] == quantity(1000 * heron.speed_m_s[frame], 1000 * heron.u_speed_m_s[frame], "mm/s")
    assert analysis.pull is not None
    fused = analysis.pull.source("fused")
    assert fused is not None
    assert values["pull"] == quantity(fused.tension_N[frame], fused.u_tension_N[frame], "N")


def test_arrow_keys_step_by_pictures(page: webdriver.Chrome) -> None:
    before = clock_s(page)
    press(page, Keys.ARROW_LEFT)
    assert before - clock_s(page) == pytest.approx(1 / 30, abs=0.011)
    press(page, Keys.ARROW_RIGHT)
    assert clock_s(page) == pytest.approx(before, abs=0.001)
    rope = page.find_element(By.ID, "rope-minus").get_attribute("d")
    ActionChains(page).key_down(Keys.SHIFT).send_keys(*[Keys.ARROW_LEFT] * 9).key_up(Keys.SHIFT).perform()
    assert before - clock_s(page) == pytest.approx(90 / 30, abs=0.05)
    assert page.find_element(By.ID, "rope-minus").get_attribute("d") != rope


def test_choosing_an_event_goes_there_and_the_picture_follows(page: webdriver.Chrome, analysis: Analysis) -> None:
    assert analysis.grip is not None
    event = analysis.grip.events[-1]
    page.find_elements(By.CSS_SELECTOR, ".moments button")[-1].click()
    assert clock_s(page) == pytest.approx(event.start_s, abs=0.02)
    wanted = event.start_s + analysis.clock.start_clip_s

    def arrived(page: webdriver.Chrome) -> bool:
        at = page.execute_script("return document.querySelector('video').currentTime")
        return abs(float(at) - wanted) < 1 / 30  # within a picture of this clip

    WebDriverWait(page, 10).until(arrived)


def test_pulling_the_rope_moves_through_the_run(page: webdriver.Chrome, analysis: Analysis) -> None:
    page.find_elements(By.CSS_SELECTOR, ".moments button")[-1].click()
    before = clock_s(page)
    box = page.find_element(By.ID, "handle")
    across = page.find_element(By.ID, "from-above").size["width"] / 2320  # screen per millimetre of table
    pull = ActionChains(page).move_to_element(box).click_and_hold()
    for _ in range(5):
        pull = pull.move_by_offset(round(-20 * across), 0)
    pull.release().perform()
    after = clock_s(page)
    assert after > before  # the rope went towards −x, so pulling it that way goes on in time
    rope = analysis.motion.rope
    assert rope is not None
    middle_m = (rope.on_plus_x_m - rope.on_minus_x_m) / 2
    at = [int(abs(analysis.clock.match_time(analysis.motion.clip_s) - t).argmin()) for t in (before, after)]
    assert middle_m[at[1]] - middle_m[at[0]] == pytest.approx(-0.1, abs=0.015)


def test_slider_says_where_it_is(page: webdriver.Chrome) -> None:
    handle = page.find_element(By.ID, "handle")
    assert handle.get_attribute("role") == "slider"
    said = handle.get_attribute("aria-valuetext")
    assert said is not None
    assert "% of the rope" in said
    handle.send_keys(Keys.HOME)
    assert clock_s(page) == pytest.approx(0.0, abs=0.02)


def test_runs_by_itself(page: webdriver.Chrome) -> None:
    press(page, Keys.TAB)
    page.find_element(By.ID, "handle").send_keys(Keys.HOME)
    page.find_element(By.ID, "play").click()
    WebDriverWait(page, 10).until(lambda p: clock_s(p) > 0.5)
    page.find_element(By.ID, "play").click()
    assert text(page, "#play") == "run"


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1366, 768), (820, 1180)])
def test_nothing_sticks_out_sideways(page: webdriver.Chrome, width: int, height: int) -> None:
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        wide = page.execute_script("return document.documentElement.scrollWidth")
        assert wide <= width
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["report.html", "ruling.html"])
def test_axe_finds_no_serious_fault(page: webdriver.Chrome, folder: Path, name: str, scheme: str) -> None:
    look = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", look)
    try:
        page.get((folder / name).as_uri())
        page.execute_script("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
        assert serious_faults(page) == []
    finally:
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_axe_would_find_a_fault(page: webdriver.Chrome) -> None:
    page.execute_script("document.body.append(Object.assign(document.createElement('img'), { src: 'data:,' }))")
    assert [fault.split(" ")[0] for fault in serious_faults(page)] == ["image-alt"]


def test_first_paint_within_a_second_and_a_small_file(page: webdriver.Chrome, folder: Path) -> None:
    painted_ms = page.execute_script(
        "return performance.getEntriesByType('paint').find(one => one.name === 'first-contentful-paint')?.startTime"
    )
    assert painted_ms is not None
    assert painted_ms < 1000
    assert (folder / "report.html").stat().st_size < 6_000_000


def test_ruling_sheet_prints_on_one_side_of_a4(driver: webdriver.Chrome, folder: Path) -> None:
    driver.get((folder / "ruling.html").as_uri())
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    pdf = base64.b64decode(printed["data"])
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == 1


def test_a_report_that_holds_its_clip_needs_no_file_beside_it(
    driver: webdriver.Chrome, folder: Path, tmp_path: Path
) -> None:
    page = (folder / "report.html").read_text(encoding="utf-8")
    held = fill_slots(page, hold_clip((folder / "marked.mp4").read_bytes()))
    (tmp_path / "handed-on.html").write_text(held, encoding="utf-8")
    driver.get((tmp_path / "handed-on.html").as_uri())
    video = "document.querySelector('video')"
    WebDriverWait(driver, 10).until(lambda d: d.execute_script(f"return {video}.readyState >= 2"))
    assert driver.execute_script(f"return {video}.src").startswith("blob:")
    assert driver.find_element(By.ID, "camera").is_displayed()
    driver.find_element(By.ID, "handle").send_keys(Keys.HOME)
    wanted = driver.execute_script(
        "const data = JSON.parse(document.getElementById('data').textContent);"
        "return data.clip[data.t.findIndex(t => t > -0.001)]"
    )
    WebDriverWait(driver, 10).until(lambda d: abs(d.execute_script(f"return {video}.currentTime") - wanted) < 1 / 30)


def test_works_without_the_marked_clip(driver: webdriver.Chrome, folder: Path, tmp_path: Path) -> None:
    shutil.copy(folder / "report.html", tmp_path / "report.html")
    driver.get((tmp_path / "report.html").as_uri())
    WebDriverWait(driver, 10).until(lambda d: not d.find_element(By.ID, "camera").is_displayed())
    before = clock_s(driver)
    press(driver, Keys.ARROW_LEFT)
    assert clock_s(driver) < before
